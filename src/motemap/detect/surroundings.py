"""Is a dip closed on all sides? Dust is; an edge, a contour ring or a slope is not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import crops_round
from motemap.detect.dips import LEVEL_SIGMA
from motemap.distances import within
from motemap.filters import SQUARE
from motemap.masks import Boxes
from motemap.medians import medians_of_runs
from motemap.planes import cells_at, values_at
from motemap.strips import for_each

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from motemap.crops import Crops
    from motemap.detect.levels import Search
    from motemap.records import Cells, FlatFrame, Regions

N_SECTORS = 12
"""Sides on which a mark is looked at, a clock's hours."""
MIN_CELLS_IN_SECTOR = 4
"""Fewer cells of a sector tell nothing; it then counts as not seen."""
OPEN_OF_PEAK = 0.38
"""A side darker than the ring by this share of the mark's depth is open: the dip goes on there."""
OPEN_SHARE_MAX = 0.25
"""Share of a mark's surroundings that may be as dark as itself, three sectors of twelve."""
FEWEST_SECTORS = 3
"""Sectors that have to be seen before they tell whether a mark is closed."""
RING_OF_THICKNESS, GAP_OF_THICKNESS = 0.5, 0.15
RING_MIN_CELLS, GAP_MIN_CELLS = 3, 1
"""Width of the ring that is looked at, and its distance from the mark."""
CROWDED_SNR = 15.0
"""A mark so closely beset that its surroundings cannot be seen has to be clear by itself."""
STANDS_OUT = 2.5
"""A mark no clearer than that is so many times as deep as its surroundings scatter, sector by
sector. Of 2700 faint marks drawn in all kinds of frames all but one are."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """What lies round n marks.

    Parameters
    ----------
    level_frac : (n,) float64
        Median contrast of the ring round each.
    open_share : (n,) float64
        Share of the ring's sectors that stay darker than `OPEN_OF_PEAK` of the mark's depth.
    scatter_frac : (n,) float64
        Standard deviation of the sectors' means.
    n_sectors : (n,) int
        Sectors with enough cells to tell.
    """

    level_frac: NDArray[np.float64]
    open_share: NDArray[np.float64]
    scatter_frac: NDArray[np.float64]
    n_sectors: NDArray[np.intp]


def are_closed(
    flat: FlatFrame, search: Search, regions: Regions, depth_frac: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Tell whether it is lighter on nearly all sides of regions; see `look_around`.

    Parameters
    ----------
    flat : FlatFrame
    search : Search
    regions : Regions
    depth_frac : (n,) float64
        Depth of each.

    Returns
    -------
    (n,) bool
    """
    closed = np.zeros(len(regions), np.bool_)
    sides = list(_alike(regions, flat.contrast.shape))

    def are_some_closed(some: _Sides) -> NDArray[np.bool_]:
        ring, own = some.ring(regions), depth_frac[some.numbers]
        found = _are_even(flat, ring, own) & (regions.snr[some.numbers] > CROWDED_SNR)
        rest = np.flatnonzero(~found)
        if len(rest):
            others = some.numbers[rest]
            free = ring.of_masks(rest)
            free = free.only(_are_free(flat, search, regions.scale_cell[others], free))
            contrast = values_at(flat.contrast, free.row, free.col)
            middles = regions.cells.of_masks(others).middles()
            around = look_around(free, contrast, middles, own[rest])
            found[rest] = _are_clear(around, regions.snr[others], own[rest])
        return found

    for some, found in zip(sides, for_each(are_some_closed, sides), strict=True):
        closed[some.numbers] = found
    return closed


def _are_even(flat: FlatFrame, ring: Cells, depth_frac: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which rings are so even that no side of them can be open: no cell is dark enough.

    Most are, and need not be looked at any closer.
    """
    if not ring.counts.all():
        return np.zeros(ring.n_masks, np.bool_)
    contrast = values_at(flat.contrast, ring.row, ring.col)
    highest, lowest = ring.largest(contrast), -ring.largest(-contrast)
    is_even: NDArray[np.bool_] = lowest >= highest - OPEN_OF_PEAK * (depth_frac + highest)
    return is_even


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sides:
    """Some regions of like size, and the rings to be looked at round them.

    Parameters
    ----------
    numbers : (n,) int
    crops : Crops
        These hold the rings.
    inner_cell, outer_cell : int
        How far from its region a ring begins and ends [cells].
    """

    numbers: NDArray[np.intp]
    crops: Crops
    inner_cell: int
    outer_cell: int

    def ring(self, regions: Regions) -> Cells:
        """List the cells of the rings."""
        marks = self.crops.drawn(regions.cells.of_masks(self.numbers))
        near, far = within(marks, (self.inner_cell, self.outer_cell))
        return self.crops.listed(far & ~near)[0]


def _alike(regions: Regions, shape: tuple[int, ...]) -> Iterator[_Sides]:
    """Yield some regions with rings of the same width, till all are seen.

    How wide a ring is, and how far away, follows from the thickness of its region.
    """
    thickness = regions.thickness_cell
    gap = np.maximum(GAP_MIN_CELLS, np.rint(GAP_OF_THICKNESS * thickness)).astype(np.intp)
    width = np.maximum(RING_MIN_CELLS, np.rint(RING_OF_THICKNESS * thickness)).astype(np.intp)
    kinds, kind = np.unique(np.stack([gap, gap + width], axis=1), axis=0, return_inverse=True)
    for number, (inner, outer) in enumerate(kinds.tolist()):
        members = np.flatnonzero(kind == number)
        boxes = Boxes(start=regions.start[members], stop=regions.stop[members])
        for some, crops in crops_round(boxes, np.full(len(members), outer + 1), shape):
            yield _Sides(numbers=members[some], crops=crops, inner_cell=inner, outer_cell=outer)


def _are_free(
    flat: FlatFrame, search: Search, scale_cell: NDArray[np.float64], ring: Cells
) -> NDArray[np.bool_]:
    """Return which cells of rings round marks, found at some scales, belong to no other mark."""
    near = cells_at(search.label, ring.row // SQUARE, ring.col // SQUARE)
    # Shadows found at coarser levels are what a small mark may lie in, not its neighbours.
    level = np.rint(np.log2(scale_cell / LEVEL_SIGMA)).astype(np.int32) + 1
    is_free: NDArray[np.bool_] = (near == 0) | (near > np.repeat(level, ring.counts))
    is_free &= cells_at(flat.valid, ring.row, ring.col)
    return is_free


def _are_clear(
    around: Surroundings, snr: NDArray[np.float64], depth_frac: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Judge marks by what lies round them."""
    is_clear = snr > CROWDED_SNR
    stands_out = depth_frac + around.level_frac >= STANDS_OUT * around.scatter_frac
    is_closed = (is_clear | stands_out) & (around.open_share <= OPEN_SHARE_MAX)
    return np.where(around.n_sectors < FEWEST_SECTORS, is_clear, is_closed)


def look_around(
    ring: Cells,
    contrast: NDArray[np.float32],
    middles: NDArray[np.float64],
    depth_frac: NDArray[np.float64],
) -> Surroundings:
    """Measure the rings round marks, sector by sector.

    Parameters
    ----------
    ring : Cells
        Cells round each of n marks, k in all: of no other mark, inside the frame.
    contrast : (k,) float32
    middles : (n, 2) float64
        Row and column of the middle of each mark.
    depth_frac : (n,) float64
        Depth of each mark.
    """
    number = ring.mask * N_SECTORS + _sectors(ring, middles)
    n_sectors = ring.n_masks * N_SECTORS
    n_cells = np.bincount(number, minlength=n_sectors).reshape(-1, N_SECTORS)
    total = np.bincount(number, contrast, n_sectors).reshape(-1, N_SECTORS)
    is_known = n_cells >= MIN_CELLS_IN_SECTOR
    n_known = np.count_nonzero(is_known, axis=1)
    level = medians_of_runs(contrast, ring.counts)
    means = total / np.maximum(n_cells, 1)
    dark = is_known & (means < (level - OPEN_OF_PEAK * (depth_frac + level))[:, None])
    return Surroundings(
        level_frac=np.where(n_known > 0, level, 0.0),
        open_share=np.where(
            n_known > 0, np.count_nonzero(dark, axis=1) / np.maximum(n_known, 1), 1.0
        ),
        scatter_frac=_scatters(means, is_known, n_known),
        n_sectors=n_known,
    )


def _sectors(ring: Cells, middles: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return in which sector about the middle of its mark each cell of the rings lies."""
    middle_row, middle_col = np.repeat(middles, ring.counts, axis=0).T
    turn = np.arctan2(ring.row - middle_row, ring.col - middle_col) + np.pi
    sector: NDArray[np.intp] = (turn * (N_SECTORS / (2 * np.pi))).astype(np.intp)
    # Half a turn is as well the end of the last as the start of the first.
    sector[sector == N_SECTORS] = 0
    return sector


def _scatters(
    means: NDArray[np.float64], is_known: NDArray[np.bool_], n_known: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return the standard deviation of the known means of each mark; 1 where there are none."""
    scatter = np.ones(len(means))
    for count in np.unique(n_known[n_known > 0]).tolist():
        these = n_known == count
        scatter[these] = means[these][is_known[these]].reshape(-1, count).std(axis=1)
    return scatter
