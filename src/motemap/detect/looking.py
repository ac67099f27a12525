"""Look into connected pieces: follow each cell by cell, and see whether it may be several marks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import crops_round
from motemap.detect.clumps import LOW_OF_PEAK, Clumps
from motemap.detect.dips import LEVEL_SIGMA
from motemap.detect.grow import GROW_OF_PEAK, GROW_SIGMAS
from motemap.detect.split import have_rivals
from motemap.filters import NOISE_OF_BLUR, SQUARE, highest_nearby, smooth
from motemap.masks import label_pieces
from motemap.medians import medians_of_runs
from motemap.records import Cells
from motemap.strips import for_each

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.crops import Crops
    from motemap.detect.levels import Search
    from motemap.detect.pieces import Pieces
    from motemap.masks import Boxes
    from motemap.records import FlatFrame

MARGIN_MIN = 4
"""Cells round a piece that its smoothing is to see, at least; else three of its sigmas."""
CLEAR_SIGMAS = 5.0
"""A part of a piece that stands out by so many sigmas may be a mark of its own."""
NEARBY_CELLS = 9
"""Side of the square round a cell that holds the middle of any mark it may be the rim of, where
the finest level alone finds it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Looked:
    """What is seen of some pieces: by number of the piece, and cell by cell."""

    numbers: NDArray[np.intp]
    noise_frac: NDArray[np.float64]
    has_rivals: NDArray[np.bool_]
    cells: Cells
    depth: NDArray[np.float32]


def look_into(flat: FlatFrame, search: Search, pieces: Pieces) -> Clumps:
    """Gather what is needed to part connected pieces.

    A piece that the finest level found is followed cell by cell, within the squares that it
    lies in; those that turn out to hold none of it are given free.

    Returns
    -------
    Clumps
        One a piece.
    """
    alike: list[tuple[NDArray[np.intp], Crops]] = []
    for level in np.unique(pieces.level).tolist():
        members = np.flatnonzero(pieces.level == level)
        boxes = pieces.boxes.only(members)
        pads = np.full(len(members), max(MARGIN_MIN, round(3 * LEVEL_SIGMA * 2**level)))
        alike += [
            (members[some], crops) for some, crops in crops_round(boxes, pads, flat.contrast.shape)
        ]
    clumps = _joined(pieces, for_each(lambda some: _in_crops(flat, pieces, *some), alike))
    _give_free(search, pieces, clumps)
    return clumps


def _in_crops(flat: FlatFrame, pieces: Pieces, numbers: NDArray[np.intp], crops: Crops) -> _Looked:
    """Look into some pieces of one level, given the crops that they lie in."""
    level = int(pieces.level[numbers[0]])
    sigma = LEVEL_SIGMA * 2**level
    boxes = pieces.boxes.only(numbers)
    inner = crops.inner(boxes)
    depth = crops.part(np.negative(smooth(crops.cut(flat.contrast), sigma)), inner)
    inside = inner.cells(pieces.label, SQUARE) == (numbers + 1)[:, None, None]
    noise_frac = _noise_in(flat, inner, boxes)
    scatter = noise_frac / (NOISE_OF_BLUR * sigma)
    if level == 0:
        inside = _followed(depth, inside, scatter)
    cells, place = inner.listed(inside)
    return _Looked(
        numbers=numbers,
        noise_frac=noise_frac,
        has_rivals=have_rivals(depth, inside, scatter),
        cells=cells,
        depth=depth.ravel()[place],
    )


def _joined(pieces: Pieces, looked: Sequence[_Looked]) -> Clumps:
    """Put what was seen of some pieces after others in the order of the pieces."""
    n_pieces = len(pieces.boxes)
    noise_frac, has_rivals = np.zeros(n_pieces), np.zeros(n_pieces, np.bool_)
    for some in looked:
        noise_frac[some.numbers] = some.noise_frac
        has_rivals[some.numbers] = some.has_rivals
    cells, order = Cells.joined([some.cells for some in looked]).numbered(
        np.concatenate([some.numbers[some.cells.mask] for some in looked]), n_pieces
    )
    depth = np.concatenate([some.depth for some in looked])[order]
    return Clumps(
        cells=cells,
        depth=depth,
        is_low=depth > LOW_OF_PEAK * np.maximum(cells.largest(depth), 0)[cells.mask],
        boxes=pieces.boxes,
        sigma_cell=np.ldexp(LEVEL_SIGMA, pieces.level),
        noise_frac=noise_frac,
        snr=pieces.snr.astype(np.float64),
        has_rivals=has_rivals,
    )


def _noise_in(flat: FlatFrame, crops: Crops, boxes: Boxes) -> NDArray[np.float64]:
    """Return the median of the noise in boxes, (n,), given crops that they lie in."""
    noise = crops.cut(flat.noise_frac)
    is_inside = np.ones(noise.shape, np.bool_)
    for axis, begin in enumerate((crops.top, crops.left)):
        place = begin[:, None] + np.arange(crops.shape[axis])
        is_out = (place < boxes.start[:, axis, None]) | (place >= boxes.stop[:, axis, None])
        np.swapaxes(is_inside, 1, axis + 1)[is_out] = False
    return medians_of_runs(noise[is_inside], np.count_nonzero(is_inside, axis=(1, 2)))


def _followed(
    depth: NDArray[np.float32], inside: NDArray[np.bool_], scatter: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return the cells of each piece down to which `grow` would follow it on the finest grid.

    Held against the deepest place nearby, as a piece may hold a faint mark beside a deep one.

    Parameters
    ----------
    depth : (n, h, w) float32
    inside : (n, h, w) bool
    scatter : (n,) float64

    Returns
    -------
    (n, h, w) bool
        All of a piece of which nothing is so deep.
    """
    peak = highest_nearby(np.where(inside, depth, np.float32(0)), NEARBY_CELLS)
    least = (GROW_SIGMAS * scatter).astype(np.float32)[:, None, None]
    kept = inside & (depth > np.maximum(GROW_OF_PEAK * peak, least))
    kept = _clear_parts(depth, kept, scatter)
    is_lost = ~kept.any(axis=(1, 2))
    kept[is_lost] = inside[is_lost]
    return kept


def _clear_parts(
    depth: NDArray[np.float32], kept: NDArray[np.bool_], scatter: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Keep what stands out by itself of each piece that fell apart; the rest is noise beside it."""
    part = label_pieces(kept)
    last = np.maximum.accumulate(part.max(axis=(1, 2)))
    n_parts = np.diff(last, prepend=0)
    for number in np.flatnonzero(n_parts > 1).tolist():
        own = np.arange(last[number] - n_parts[number], last[number]) + 1
        is_part = part[number] == own[:, None, None]
        deepest = np.where(is_part, depth[number], np.float32(-np.inf)).max(axis=(1, 2))
        asked = min(np.float32(CLEAR_SIGMAS * scatter[number]), deepest.max())
        kept[number] = is_part[deepest >= asked].any(axis=0)
    return kept


def _give_free(search: Search, pieces: Pieces, clumps: Clumps) -> None:
    """Give the squares free that hold nothing of the pieces that were followed; others fill theirs."""
    is_held = np.zeros(search.label.shape, np.bool_)
    is_held[clumps.cells.row // SQUARE, clumps.cells.col // SQUARE] = True
    rows, cols = pieces.squares
    is_free = ~is_held[rows, cols]
    search.label[rows[is_free], cols[is_free]] = 0
