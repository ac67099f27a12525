"""How far the cells of small maps lie from a mark, many maps at once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import cv2
import numpy as np

from motemap.filters import STACK_CELLS
from motemap.records import Cells, Regions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import Region

SIDES = (10, 14, 22, 34)
"""Sides of masks that are stacked; larger ones are looked at one by one."""


def within(marks: NDArray[np.bool_], radii_cell: Sequence[float]) -> list[NDArray[np.bool_]]:
    """Return which cells of each map lie within some distances of its mark.

    Parameters
    ----------
    marks : (n, h, w) bool
    radii_cell : sequence of float

    Returns
    -------
    list of (n, h, w) bool
        One a distance.
    """
    if len(marks) == 1:
        apart2 = _distance2_to_next(~marks[0])[None]
        return [apart2 <= radius**2 for radius in radii_cell]
    n_maps, height, width = marks.shape
    # Side by side in one picture of few and long rows, which is gone through fast, with room
    # between them for no mark to reach the next.
    beside = np.zeros((height, n_maps, width + int(max(radii_cell))), np.uint8)
    beside[:, :, :width] = marks.transpose(1, 0, 2)
    wide = beside.reshape(height, -1)
    grown = [cv2.dilate(wide, _disc(radius)).reshape(beside.shape) for radius in radii_cell]
    return [
        np.ascontiguousarray(maps[:, :, :width].transpose(1, 0, 2)).view(np.bool_) for maps in grown
    ]


def largest_near(values: NDArray[np.float32], reach_cell: int) -> NDArray[np.float32]:
    """Return the largest value within so many rows and columns of each cell, (h, w)."""
    return np.asarray(cv2.dilate(values, _square(reach_cell)), dtype=np.float32)


def _square(reach_cell: int) -> NDArray[np.uint8]:
    """Return the cells within so many rows and columns of the middle one."""
    return np.ones((2 * reach_cell + 1, 2 * reach_cell + 1), np.uint8)


def _disc(radius_cell: float) -> NDArray[np.uint8]:
    """Return the cells within a radius of the middle one."""
    steps = np.arange(-int(radius_cell), int(radius_cell) + 1) ** 2
    return (steps[:, None] + steps <= radius_cell**2).astype(np.uint8)


def thicknesses(
    cells: Cells, start: NDArray[np.intp], stop: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return the diameters of the largest discs within masks, ends on cells outside, (n,) [cells].

    Parameters
    ----------
    cells : Cells
    start, stop : (n, 2) int
        Row and column at which each mask begins, and those before which it ends.
    """
    found = np.zeros(len(start))
    extents = stop - start
    order = np.searchsorted(SIDES, extents.max(axis=1))
    for number, side in enumerate(SIDES):
        alike = np.flatnonzero(order == number)
        most = STACK_CELLS // (side + 2) ** 2
        for first in range(0, len(alike), most):
            some = alike[first : first + most]
            found[some] = _thicknesses_alike(cells.of_masks(some), start[some], (side, side))
    for one in np.flatnonzero(order == len(SIDES))[:, None]:
        height, width = extents[one[0]].tolist()
        found[one] = _thicknesses_alike(cells.of_masks(one), start[one], (height, width))
    return found


def _thicknesses_alike(
    cells: Cells, start: NDArray[np.intp], shape: tuple[int, int]
) -> NDArray[np.float32]:
    """Return the thickness of masks that fit into a shape, (n,)."""
    # With free cells all round, none is nearer to those of another map.
    height, width = shape[0] + 2, shape[1] + 2
    stack = np.zeros((cells.n_masks, height, width), np.bool_)
    of_mask = cells.mask
    down, right = cells.row - start[of_mask, 0] + 1, cells.col - start[of_mask, 1] + 1
    stack.reshape(-1)[(of_mask * height + down) * width + right] = True
    within2 = _distance2_to_next(stack.reshape(-1, width)).reshape(stack.shape)
    return np.asarray(2 * np.sqrt(within2.max(axis=(1, 2))), dtype=np.float32)


def regions_of(marks: Sequence[Region]) -> Regions:
    """Put single marks together."""
    start = np.array([(mark.top_cell, mark.left_cell) for mark in marks], np.intp).reshape(-1, 2)
    extents = np.array([mark.mask.shape for mark in marks], np.intp).reshape(-1, 2)
    cells = Cells.of([mark.mask for mark in marks], start)
    return Regions(
        cells=cells,
        start=start,
        stop=start + extents,
        snr=np.array([mark.snr for mark in marks], np.float64),
        scale_cell=np.array([mark.scale_cell for mark in marks], np.float64),
        thickness_cell=thicknesses(cells, start, start + extents),
        alone={place: mark.alone for place, mark in enumerate(marks) if mark.alone is not None},
    )


def inner_radius(mask: NDArray[np.bool_]) -> float:
    """Return the radius of the largest disc within one mask; see `thicknesses`."""
    height, width = mask.shape
    padded = np.zeros((height + 2, width + 2), np.bool_)
    padded[1:-1, 1:-1] = mask
    return math.sqrt(_distance2_to_next(padded).max())


def _distance2_to_next(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return how far each cell of a mask lies from the next one outside it, squared [cells^2]."""
    exact = cv2.DIST_MASK_PRECISE
    away = cv2.distanceTransform(mask.view(np.uint8), cv2.DIST_L2, exact)
    # Whole numbers between cells. The last digits of the root depend on where in the memory
    # the mask happens to lie, and so would the report.
    return np.asarray(np.rint(np.square(away)), dtype=np.float32)
