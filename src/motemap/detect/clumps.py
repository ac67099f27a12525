"""What is to be known of each connected piece: a mark, or several that touch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import Cells, crops_round
from motemap.detect.dips import LEVEL_SIGMA
from motemap.detect.grow import GROW_OF_PEAK, GROW_SIGMAS
from motemap.detect.split import have_rivals
from motemap.filters import NOISE_OF_BLUR, SQUARE, highest_nearby, smooth
from motemap.masks import Box, label_pieces

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.crops import Crops
    from motemap.detect.levels import Search
    from motemap.detect.pieces import Pieces
    from motemap.records import FlatFrame

MARGIN_MIN = 4
CLEAR_SIGMAS = 5.0
"""A part of a piece that stands out by so many sigmas may be a mark of its own."""
NEARBY_CELLS = 9
"""Side of the square round a cell that holds the middle of any mark it may be the rim of, where
the finest level alone finds it."""
LOW_OF_PEAK = 0.125
"""Depth over the peak's down to which a clump's area is taken: faint marks count as well."""


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
    noise_frac : float
        Noise of a cell there, as the frame has it.
    snr : float
        Largest significance inside.
    low_area : int
        How many cells are as deep as `LOW_OF_PEAK`.
    has_rivals : bool
        Whether there is more than one peak that may be a mark.
    """

    box: Box
    inside: NDArray[np.bool_]
    depth: NDArray[np.float32]
    sigma_cell: float
    noise_frac: float
    snr: float
    low_area: int
    has_rivals: bool

    @property
    def scatter(self) -> float:
        """Standard deviation of `depth`."""
        return self.noise_frac / (NOISE_OF_BLUR * self.sigma_cell)


def low_cells(clumps: Sequence[Clump]) -> Cells:
    """List the cells of clumps down to `LOW_OF_PEAK`, each clump in a plane of its own."""
    cells = Cells.of([clump.inside for clump in clumps], [(0, 0)] * len(clumps))
    if not clumps:
        return cells
    depth = np.concatenate([clump.depth[clump.inside] for clump in clumps])
    return cells.only(depth > LOW_OF_PEAK * np.maximum(cells.largest(depth), 0)[cells.mask])


def look_into(flat: FlatFrame, search: Search, pieces: Pieces) -> list[Clump]:
    """Gather what is needed to part connected pieces.

    A piece that the finest level found is followed cell by cell, within the squares that it
    lies in; those that turn out to hold none of it are given free.

    Returns
    -------
    list of Clump
        One a piece.
    """
    clumps: dict[int, Clump] = {}
    for level in np.unique(pieces.level).tolist():
        sigma = LEVEL_SIGMA * 2**level
        members = np.flatnonzero(pieces.level == level)
        boxes = [pieces.boxes[member] for member in members.tolist()]
        pads = np.full(len(boxes), max(MARGIN_MIN, round(3 * sigma)))
        for some, crops in crops_round(boxes, pads, flat.contrast.shape):
            numbers = members[some]
            clumps.update(
                zip(numbers.tolist(), _in_crops(flat, pieces, numbers, crops), strict=True)
            )
    found = [clumps[number] for number in range(len(pieces.boxes))]
    _give_free(search, pieces, [clump for clump in found if clump.sigma_cell == LEVEL_SIGMA])
    return found


def _in_crops(
    flat: FlatFrame, pieces: Pieces, numbers: NDArray[np.intp], crops: Crops
) -> Iterator[Clump]:
    """Look into some pieces of one level, given the crops that they lie in."""
    level = int(pieces.level[numbers[0]])
    sigma = LEVEL_SIGMA * 2**level
    boxes = [pieces.boxes[number] for number in numbers.tolist()]
    depth = np.negative(smooth(crops.cut(flat.contrast), sigma))
    inside = crops.cells(pieces.label, SQUARE) == (numbers + 1)[:, None, None]
    own_boxes = crops.within(boxes)
    noise_frac = _noise_in(crops.cut(flat.noise_frac), own_boxes)
    scatter = noise_frac / (NOISE_OF_BLUR * sigma)
    if level == 0:
        inside = _followed(depth, inside, scatter)
    within = np.where(inside, depth, np.float32(0))
    is_low = within > LOW_OF_PEAK * within.max(axis=(1, 2), keepdims=True)
    for box, own, cells, soft, noise, snr, low_area, rivals in zip(
        boxes,
        own_boxes,
        inside,
        depth,
        noise_frac.tolist(),
        pieces.snr[numbers].tolist(),
        np.count_nonzero(is_low, axis=(1, 2)).tolist(),
        have_rivals(depth, inside, scatter).tolist(),
        strict=True,
    ):
        yield Clump(
            box=box,
            inside=cells[own].copy(),
            depth=soft[own].copy(),
            sigma_cell=sigma,
            noise_frac=noise,
            snr=snr,
            low_area=low_area,
            has_rivals=rivals,
        )


def _noise_in(noise: NDArray[np.float32], boxes: Sequence[Box]) -> NDArray[np.float64]:
    """Return the median of each map, (n, h, w), within a box of its own; it is used up."""
    sides = [(rows.start, rows.stop, cols.start, cols.stop) for rows, cols in boxes]
    top, bottom, left, right = np.array(sides)[:, :, None].transpose(1, 0, 2)
    row, col = (np.arange(side) for side in noise.shape[1:])
    in_rows, in_cols = (top <= row) & (row < bottom), (left <= col) & (col < right)
    noise[~(in_rows[:, :, None] & in_cols[:, None, :])] = np.inf
    rising = np.sort(noise.reshape(len(noise), -1), axis=1)
    every, n_cells = np.arange(len(noise)), ((bottom - top) * (right - left)).ravel()
    middle = rising[every, (n_cells - 1) // 2] + rising[every, n_cells // 2]
    return np.asarray(middle / np.float32(2), dtype=np.float64)


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
    parts = label_pieces(kept)
    n_parts = int(parts.max())
    cells = np.flatnonzero(parts)
    part = parts.ravel()[cells]
    piece_of = np.zeros(n_parts + 1, np.intp)
    piece_of[part] = cells // depth[0].size
    deepest = np.full(n_parts + 1, -np.inf, np.float32)
    np.maximum.at(deepest, part, depth.ravel()[cells])
    asked = (CLEAR_SIGMAS * scatter).astype(np.float32)
    peak = np.full(len(depth), -np.inf, np.float32)
    np.maximum.at(peak, piece_of[1:], deepest[1:])
    is_clear = deepest >= np.minimum(asked, peak)[piece_of]
    is_clear[0] = False
    return np.asarray(is_clear[parts], dtype=np.bool_)


def _give_free(search: Search, pieces: Pieces, followed: Sequence[Clump]) -> None:
    """Give the squares free that hold nothing of the pieces that were followed."""
    cells = Cells.of(
        [clump.inside for clump in followed],
        [(clump.box[0].start, clump.box[1].start) for clump in followed],
    )
    is_held = np.zeros(search.label.shape, np.bool_)
    is_held[cells.row // SQUARE, cells.col // SQUARE] = True
    rows, cols = pieces.squares
    is_free = (pieces.level == 0)[pieces.label[rows, cols] - 1] & ~is_held[rows, cols]
    search.label[rows[is_free], cols[is_free]] = 0
