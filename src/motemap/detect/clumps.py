"""One connected piece of what the search found: a mark, or several that touch."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.detect.boxes import widened
from motemap.detect.dips import LEVEL_SIGMA
from motemap.detect.grow import GROW_OF_PEAK, GROW_SIGMAS
from motemap.detect.heaps import Shade, take_apart
from motemap.detect.split import part_marks
from motemap.detect.usual import Usual
from motemap.filters import BORDER_MODE, Box, label_pieces, smooth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.levels import Search
    from motemap.records import FlatFrame

MARGIN_MIN = 4
CLEAR_SIGMAS = 5.0
"""A part of a piece that stands out by so many sigmas may be a mark of its own."""
NEARBY_CELLS = 9
"""Side of the square round a cell that holds the middle of any mark it may be the rim of, where
the finest level alone finds it."""
TELLING_SNR = 10.0
"""How clear the marks standing alone must be to tell the usual shadow."""
COARSE_AREAS, FINE_DEPTHS = 5.0, 2.0
"""A wide shadow is so many times as large as the specks on it, and they so many times as deep."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clump:
    """A connected piece.

    Parameters
    ----------
    box : (slice, slice)
        Where it lies in the plane.
    inside : (h, w) bool
        Its cells.
    depth : (h, w) float32
        Smoothed depth, positive where darker.
    sigma_cell : float
        Gaussian sigma of that smoothing [cells].
    scatter : float
        Standard deviation of `depth`.
    snr : float
        Largest significance inside.
    """

    box: Box
    inside: NDArray[np.bool_]
    depth: NDArray[np.float32]
    sigma_cell: float
    scatter: float
    snr: float


def pieces_by_level(
    flat: FlatFrame, search: Search, box: Box, inside: NDArray[np.bool_]
) -> list[NDArray[np.bool_]]:
    """Part small deep marks from the wide faint shadow that they lie in.

    Lens dust and smears are found at coarser levels than the specks on top of them, and
    connect with them. Where the fine part is clearly the deeper and the coarse part by far the
    larger, they are no one mark.

    Returns
    -------
    list of (h, w) bool
        The whole as it is, or its parts.
    """
    level = np.where(inside, search.label_in(box), 0)
    coarse = level > int(level[inside].min())
    if not coarse.any():
        return [inside]
    contrast = flat.contrast[box]
    wide = float(contrast[coarse].mean())
    pieces = label_pieces(inside & ~coarse)
    marks = [pieces == number for number in range(1, int(pieces.max()) + 1)]
    deep = [mark for mark in marks if _deeper_half(contrast[mark]) < FINE_DEPTHS * wide]
    rest = inside & ~np.logical_or.reduce(deep) if deep else inside
    if not deep or np.count_nonzero(rest) <= COARSE_AREAS * sum(map(np.count_nonzero, deep)):
        return [inside]
    pieces = label_pieces(rest)
    return deep + [pieces == number for number in range(1, int(pieces.max()) + 1)]


def _deeper_half(contrast: NDArray[np.float32]) -> float:
    """Return the mean of the darker half of some cells."""
    return float(np.sort(contrast)[: len(contrast) // 2 + 1].mean())


def look_into(flat: FlatFrame, search: Search, box: Box, inside: NDArray[np.bool_]) -> Clump:
    """Gather what is needed to part a connected piece.

    A piece that the finest level found is followed cell by cell, within the squares that it
    lies in; those that turn out to hold none of it are given free.
    """
    level = int(search.label_in(box)[inside].min()) - 1
    sigma = LEVEL_SIGMA * 2**level
    depth = smoothed_depth(flat, box, sigma)
    scatter = float(np.median(flat.noise_frac[box])) / (2 * math.sqrt(math.pi) * sigma)
    snr = float(search.snr_in(box)[inside].max())
    if level == 0:
        kept = _followed(depth, inside, scatter)
        search.give_free(box, inside, kept)
        inside = kept
    return Clump(box=box, inside=inside, depth=depth, sigma_cell=sigma, scatter=scatter, snr=snr)


def _followed(
    depth: NDArray[np.float32], inside: NDArray[np.bool_], scatter: float
) -> NDArray[np.bool_]:
    """Return the cells of a piece down to which `grow` would follow it on the finest grid.

    Held against the deepest place nearby, as a piece may hold a faint mark beside a deep one.
    """
    peak = ndimage.maximum_filter(np.where(inside, depth, 0), NEARBY_CELLS, mode=BORDER_MODE)
    kept = inside & (depth > np.maximum(GROW_OF_PEAK * peak, GROW_SIGMAS * scatter))
    if not kept.any():
        return inside
    pieces = label_pieces(kept)
    n_pieces = int(pieces.max())
    if n_pieces == 1:
        return kept
    # Of what falls apart, only what stands out by itself stays: the rest is noise beside a mark.
    deepest = ndimage.maximum(depth, pieces, np.arange(n_pieces + 1))
    is_clear = deepest >= min(CLEAR_SIGMAS * scatter, float(np.max(deepest[1:])))
    is_clear[0] = False
    return np.asarray(is_clear[pieces], dtype=np.bool_)


def smoothed_depth(flat: FlatFrame, box: Box, sigma_cell: float) -> NDArray[np.float32]:
    """Return the depth in a box, smoothed with what lies round it."""
    crop, inner = widened(box, max(MARGIN_MIN, round(3 * sigma_cell)), flat.contrast.shape)
    soft = smooth(flat.contrast[crop], sigma_cell)
    return np.negative(soft[inner])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parting:
    """The marks of a clump.

    Parameters
    ----------
    shares : (h, w) int32
        0 outside, numbers from 1 for its marks; as its dips part it.
    shades : tuple of Shade
        Its marks where they lie over one another; these then count instead.
    """

    shares: NDArray[np.int32]
    shades: tuple[Shade, ...] = ()


def part_clumps(flat: FlatFrame, clumps: list[Clump]) -> list[Parting]:
    """Part all clumps of a frame into marks.

    First by the dips between marks. The marks that stand alone then tell how the shadow of a
    speck looks in this frame, and what is larger is explained as several of them.

    Returns
    -------
    list of Parting
        One a clump.
    """
    shares = [part_marks(clump.depth, clump.inside, clump.scatter) for clump in clumps]
    lone = [
        clump
        for clump, share in zip(clumps, shares, strict=True)
        if clump.snr > TELLING_SNR and share.max() == 1
    ]
    usual = Usual.learned(flat, lone)
    if usual is None:
        return [Parting(shares=share) for share in shares]
    return [
        Parting(shares=share, shades=take_apart(flat, clump, share, usual))
        for clump, share in zip(clumps, shares, strict=True)
    ]
