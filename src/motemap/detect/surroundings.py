"""Is a dip closed on all sides? Dust is; an edge, a contour ring or a slope is not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import crops_round
from motemap.detect.dips import LEVEL_SIGMA
from motemap.distances import distances2
from motemap.filters import SQUARE
from motemap.masks import Boxes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.levels import Search
    from motemap.records import FlatFrame, Regions

N_SECTORS = 12
MIN_CELLS_IN_SECTOR = 4
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """The rings that are looked at round n marks [cells].

    Parameters
    ----------
    gap, width : (n,) int
        Distance from the mark, and width.
    """

    gap: NDArray[np.intp]
    width: NDArray[np.intp]

    @classmethod
    def round_marks(cls, thickness: NDArray[np.float64]) -> Rings:
        """Return rings as the thickness of each mark asks."""
        width = np.maximum(RING_MIN_CELLS, np.rint(RING_OF_THICKNESS * thickness))
        gap = np.maximum(GAP_MIN_CELLS, np.rint(GAP_OF_THICKNESS * thickness))
        return cls(gap=gap.astype(np.intp), width=width.astype(np.intp))

    def __getitem__(self, some: NDArray[np.intp]) -> Rings:
        """Return some of the rings."""
        return Rings(gap=self.gap[some], width=self.width[some])

    def cells_round(self, marks: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return the cells of the rings round marks, (n, h, w)."""
        inner, outer = self.gap, self.gap + self.width
        apart2 = distances2(marks, int(outer.max()))
        return (apart2 > inner[:, None, None] ** 2) & (apart2 <= outer[:, None, None] ** 2)


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
    rings = Rings.round_marks(regions.thickness_cell)
    boxes = Boxes(start=regions.start, stop=regions.stop)
    # Shadows found at coarser levels are what a small mark may lie in, not its neighbours.
    level = np.rint(np.log2(regions.scale_cell / LEVEL_SIGMA)).astype(np.int32) + 1
    for some, crops in crops_round(boxes, rings.gap + rings.width + 1, flat.contrast.shape):
        marks = crops.drawn(regions.cells.of_masks(some))
        near = crops.cells(search.label, SQUARE)
        usable = ((near == 0) | (near > level[some][:, None, None])) & ~marks
        usable &= crops.cells(flat.valid)
        around = look_around(crops.cut(flat.contrast), marks, usable, rings[some], depth_frac[some])
        closed[some] = _are_clear(around, regions.snr[some], depth_frac[some])
    return closed


def _are_clear(
    around: Surroundings, snr: NDArray[np.float64], depth_frac: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Judge marks by what lies round them."""
    is_clear = snr > CROWDED_SNR
    stands_out = depth_frac + around.level_frac >= STANDS_OUT * around.scatter_frac
    is_closed = (is_clear | stands_out) & (around.open_share <= OPEN_SHARE_MAX)
    return np.where(around.n_sectors < FEWEST_SECTORS, is_clear, is_closed)


def look_around(
    contrast: NDArray[np.float32],
    marks: NDArray[np.bool_],
    usable: NDArray[np.bool_],
    rings: Rings,
    depth_frac: NDArray[np.float64],
) -> Surroundings:
    """Measure the rings round marks, sector by sector.

    Parameters
    ----------
    contrast : (n, h, w) float32
        Crops with room for the rings.
    marks : (n, h, w) bool
        The mark of each crop.
    usable : (n, h, w) bool
        Cells of no other mark, inside the frame.
    rings : Rings
    depth_frac : (n,) float64
        Depth of each mark.
    """
    n_marks = len(marks)
    ring = np.flatnonzero(usable & rings.cells_round(marks))
    values = contrast.ravel()[ring]
    mark = ring // marks[0].size
    number = mark * N_SECTORS + _sectors(ring, mark, marks)
    n_cells = np.bincount(number, minlength=n_marks * N_SECTORS).reshape(n_marks, N_SECTORS)
    total = np.bincount(number, values, n_marks * N_SECTORS).reshape(n_marks, N_SECTORS)
    is_known = n_cells >= MIN_CELLS_IN_SECTOR
    n_known = np.count_nonzero(is_known, axis=1)
    level = _medians(mark, values, n_marks)
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


def _sectors(
    ring: NDArray[np.intp], mark: NDArray[np.intp], marks: NDArray[np.bool_]
) -> NDArray[np.intp]:
    """Return in which sector about the middle of its mark each cell of the rings lies.

    Cells are counted on through all maps: `numpy.nonzero` takes longer than all the rest.
    """
    height, width = marks.shape[1:]
    middle_row, middle_col = _middles(marks)
    row = ring // width
    down = row - (middle_row + np.arange(len(marks)) * height)[mark]
    right = ring - row * width - middle_col[mark]
    turn = (np.arctan2(down, right) + np.pi) * (N_SECTORS / (2 * np.pi))
    # Half a turn is as well the end of the last as the start of the first.
    sector: NDArray[np.intp] = turn.astype(np.intp)
    sector[sector == N_SECTORS] = 0
    return sector


def _middles(marks: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the mean row and column of each mark, (n,)."""
    down, across = np.count_nonzero(marks, axis=2), np.count_nonzero(marks, axis=1)
    whole = down.sum(axis=1)
    height, width = marks.shape[1:]
    return down @ np.arange(height) / whole, across @ np.arange(width) / whole


def _medians(
    mark: NDArray[np.intp], values: NDArray[np.float32], n_marks: int
) -> NDArray[np.float64]:
    """Return the median of the values of each mark, listed mark by mark; 0 where there are none."""
    n_values = np.bincount(mark, minlength=n_marks)
    first = np.cumsum(n_values) - n_values
    rising = np.full((n_marks, int(n_values.max()) + 1), np.inf, np.float32)
    rising[mark, np.arange(len(mark)) - first[mark]] = values
    rising.sort(axis=1)
    every = np.arange(n_marks)
    upper = rising[every, n_values // 2]
    lower = rising[every, np.maximum(n_values - 1, 0) // 2]
    medians = ((lower + upper) / np.float32(2)).astype(np.float64)
    return np.where(n_values > 0, medians, 0.0)


def _scatters(
    means: NDArray[np.float64], is_known: NDArray[np.bool_], n_known: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return the standard deviation of the known means of each mark; 1 where there are none."""
    scatter = np.ones(len(means))
    for count in np.unique(n_known[n_known > 0]).tolist():
        these = n_known == count
        scatter[these] = means[these][is_known[these]].reshape(-1, count).std(axis=1)
    return scatter
