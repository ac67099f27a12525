"""One connected piece of what the search found: a mark, or several that touch."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.detect.dips import LEVEL_SIGMA
from motemap.detect.grow import GROW_OF_PEAK, GROW_SIGMAS
from motemap.detect.rims import Votes, rim_centres, rim_votes
from motemap.detect.split import part_marks, share_by_distance
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
HALF = 0.5
TELLING_SNR = 10.0
TELLING_CLUMPS = 6
"""How clear, and how many, the marks standing alone must be to tell the usual size."""
ROUND_AREAS = (0.75, 1.6)
"""Area of a round mark over that of the largest disc inside it."""
CROWDED_AREAS = 1.5
"""A clump of more than so many usual marks' area may hold several."""
CROWDED_OF_PEAK = 0.125
"""Depth over the peak's down to which a clump's area is taken: faint marks count as well."""
THICK_RADII = 0.75
"""A clump thinner than so many usual radii is a fibre, which has no rims to find."""
COARSE_AREAS, FINE_DEPTHS = 5.0, 2.0
"""A wide shadow is so many times as large as the specks on it, and they so many times as deep."""
ALIKE_OF_RADIUS = 0.15
"""Marks within this share of the usual radius tell how many votes a whole rim gathers."""
MOST_LONE = 15
FLAT_SIGMA_OF_RADIUS = 0.15
MIN_RADIUS_CELLS = 3.0
"""Smaller discs have no flat top, and part by the dip between them."""


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
    crop, inner = padded_box(box, max(MARGIN_MIN, round(3 * sigma_cell)), flat.contrast.shape)
    soft = smooth(flat.contrast[crop], sigma_cell)
    return np.negative(soft[inner])


def part_clumps(flat: FlatFrame, clumps: list[Clump]) -> list[NDArray[np.int32]]:
    """Part all clumps of a frame into marks.

    First by the dips between marks. The marks that stand alone then tell how large a shadow
    is in this frame, and what is larger is looked at for rims of that size.

    Returns
    -------
    list of (h, w) int32
        For each clump: 0 outside, numbers from 1 for its marks.
    """
    shares = [part_marks(clump.depth, clump.inside, clump.scatter) for clump in clumps]
    lone = [
        clump
        for clump, share in zip(clumps, shares, strict=True)
        if clump.snr > TELLING_SNR and share.max() == 1 and lone_radius(clump) is not None
    ]
    usual = usual_disc(flat, lone)
    if usual is None:
        return shares
    for index, clump in enumerate(clumps):
        if _is_crowded(clump, int(shares[index].max()), usual.radius):
            shares[index] = _by_rims(flat, clump, shares[index], usual)
    return shares


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualDisc:
    """What the marks standing alone in a frame have in common.

    Parameters
    ----------
    radius : float
        At half depth [cells].
    votes : float
        Votes that the rim of one gathers at its centre.
    """

    radius: float
    votes: float


def usual_disc(flat: FlatFrame, lone: list[Clump]) -> UsualDisc | None:
    """Learn the shadow of a small speck from marks standing alone; None when they are few."""
    if len(lone) < TELLING_CLUMPS:
        return None
    radii = [lone_radius(clump) or 0.0 for clump in lone]
    radius = float(np.median(radii))
    if radius < MIN_RADIUS_CELLS:
        return None
    alike = [
        clump
        for clump, own in zip(lone, radii, strict=True)
        if abs(own - radius) < ALIKE_OF_RADIUS * radius
    ]
    votes = [float(_votes(flat, clump, radius)[0].gathered.max()) for clump in alike[:MOST_LONE]]
    return UsualDisc(radius=radius, votes=float(np.median(votes))) if votes else None


def lone_radius(clump: Clump) -> float | None:
    """Return the radius at half depth of a round mark [cells]; None for any other shape."""
    core = clump.inside & (clump.depth > HALF * clump.depth[clump.inside].max())
    area = float(core.sum())
    if not area:  # darker than its surround but nowhere darker than the background
        return None
    thickness = float(ndimage.distance_transform_edt(np.pad(core, 1)).max())
    if not ROUND_AREAS[0] < area / (math.pi * thickness**2) < ROUND_AREAS[1]:
        return None
    return math.sqrt(area / math.pi)


def _is_crowded(clump: Clump, n_marks: int, radius: float) -> bool:
    """Tell a clump with room for more usual marks than were parted in it."""
    core = clump.inside & (clump.depth > CROWDED_OF_PEAK * clump.depth[clump.inside].max())
    thickness = float(ndimage.distance_transform_edt(np.pad(core, 1)).max())
    room = core.sum() / (math.pi * radius**2)
    return bool(room > CROWDED_AREAS * n_marks and thickness > THICK_RADII * radius)


def _votes(flat: FlatFrame, clump: Clump, radius: float) -> tuple[Votes, NDArray[np.bool_], Box]:
    """Return the votes of a clump's rims, its cells, and where its box lies in both."""
    room = max(MARGIN_MIN, math.ceil(radius))
    crop, inner = padded_box(clump.box, room, flat.contrast.shape)
    depth = smoothed_depth(flat, crop, max(clump.sigma_cell, FLAT_SIGMA_OF_RADIUS * radius))
    inside = np.zeros(depth.shape, bool)
    inside[inner] = clump.inside
    return rim_votes(depth, inside, radius), inside, inner


def _by_rims(
    flat: FlatFrame, clump: Clump, shares: NDArray[np.int32], usual: UsualDisc
) -> NDArray[np.int32]:
    """Part a clump by its rims where that finds more marks than its dips did."""
    votes, inside, (rows, cols) = _votes(flat, clump, usual.radius)
    centres = rim_centres(votes, inside, usual.radius, usual.votes)
    if len(centres) <= shares.max():
        return shares
    return share_by_distance(
        clump.inside, [(row - rows.start, col - cols.start) for row, col in centres]
    )


def padded_box(box: Box, pad: int, shape: tuple[int, ...]) -> tuple[Box, Box]:
    """Widen a box by `pad` within `shape`; also return where the old box lies in the new."""
    outer, inner = [], []
    for side, limit in zip(box, shape, strict=True):
        start = max(0, side.start - pad)
        stop = min(limit, side.stop + pad)
        outer.append(slice(start, stop))
        inner.append(slice(side.start - start, side.stop - start))
    return (outer[0], outer[1]), (inner[0], inner[1])
