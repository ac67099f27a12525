"""How far the cells of small maps lie from a mark, many maps at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from motemap.filters import STACK_CELLS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

SMALL_MASKS = (10, 14, 22)
"""Sides of masks that are stacked; larger ones are looked at one by one for how thick they are."""
FAR_CELL2 = np.int16(30_000)
"""Squared distance where none is near; it and the square of any reach fit into 16 bits."""


def distances2(marks: NDArray[np.bool_], reach: int) -> NDArray[np.float32] | NDArray[np.int16]:
    """Return the squared distance from the mark of each map, exact within a reach.

    Parameters
    ----------
    marks : (n, h, w) bool
    reach : int
        Up to here distances are wanted [cells].

    Returns
    -------
    (n, h, w) float32 or int16
    """
    if len(marks) == 1:
        # Squares of distances between cells are whole numbers.
        return np.rint(np.square(_distance_to_next(~marks[0])))[None]
    nearest2 = _spread(np.where(marks, np.int16(0), FAR_CELL2), reach)
    across2 = _spread(np.ascontiguousarray(nearest2.transpose(0, 2, 1)), reach)
    return np.ascontiguousarray(across2.transpose(0, 2, 1))


def within(marks: NDArray[np.bool_], radii_cell: Sequence[float]) -> list[NDArray[np.bool_]]:
    """Return which cells of each map lie within some distances of its mark.

    Parameters
    ----------
    marks : (n, h, w) bool
        None nearer to the right or left border than the largest distance.
    radii_cell : sequence of float

    Returns
    -------
    list of (n, h, w) bool
        One a distance.
    """
    if len(marks) == 1:
        away = _distance_to_next(~marks[0])[None]
        return [away <= radius for radius in radii_cell]
    # Side by side in one picture of few and long rows, which is gone through fast.
    beside = np.ascontiguousarray(marks.transpose(1, 0, 2))
    wide = beside.view(np.uint8).reshape(len(beside), -1)
    return [
        np.ascontiguousarray(
            cv2.dilate(wide, _disc(radius)).view(np.bool_).reshape(beside.shape).transpose(1, 0, 2)
        )
        for radius in radii_cell
    ]


def _disc(radius_cell: float) -> NDArray[np.uint8]:
    """Return the cells within a radius of the middle one."""
    steps = np.arange(-int(radius_cell), int(radius_cell) + 1) ** 2
    return (steps[:, None] + steps <= radius_cell**2).astype(np.uint8)


def thicknesses(masks: Sequence[NDArray[np.bool_]]) -> list[float]:
    """Return the diameters of the largest discs within some masks, ends on cells outside [cells].

    Parameters
    ----------
    masks : sequence of (h, w) bool
        Beyond their borders all is outside.
    """
    found = np.zeros(len(masks))
    longest = np.array([max(mask.shape) for mask in masks])
    order = np.searchsorted(SMALL_MASKS, longest)
    for number, side in enumerate(SMALL_MASKS):
        small = np.flatnonzero(order == number)
        most = STACK_CELLS // (side + 2) ** 2
        for first in range(0, len(small), most):
            members = small[first : first + most]
            found[members] = _thicknesses_alike([masks[index] for index in members], side)
    for index in np.flatnonzero(order == len(SMALL_MASKS)).tolist():
        found[index] = 2 * inner_radius(masks[index])
    return found.tolist()


def inner_radius(mask: NDArray[np.bool_]) -> float:
    """Return the radius of the largest disc within one mask; see `thicknesses`."""
    height, width = mask.shape
    padded = np.zeros((height + 2, width + 2), np.bool_)
    padded[1:-1, 1:-1] = mask
    return float(_distance_to_next(padded).max())


def _distance_to_next(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return how far each cell of a mask lies from the next one outside it [cells]."""
    exact = cv2.DIST_MASK_PRECISE
    away = cv2.distanceTransform(mask.view(np.uint8), cv2.DIST_L2, exact)
    return np.asarray(away, dtype=np.float32)


def _thicknesses_alike(masks: Sequence[NDArray[np.bool_]], side: int) -> NDArray[np.float32]:
    """Return the thickness of masks that fit into squares, (n,)."""
    stack = np.zeros((len(masks), side + 2, side + 2), np.int16)
    for cells, mask in zip(stack, masks, strict=True):
        height, width = mask.shape
        cells[1 : height + 1, 1 : width + 1] = mask
    stack *= FAR_CELL2
    reach = side // 2 + 1
    within2 = _spread(np.ascontiguousarray(_spread(stack, reach).transpose(0, 2, 1)), reach)
    widest: NDArray[np.float32] = 2 * np.sqrt(within2.max(axis=(1, 2)))
    return widest


def _spread(distance2: NDArray[np.int16], reach: int) -> NDArray[np.int16]:
    """Let each cell know of the least squared distance up and down its column."""
    spread = distance2.copy()
    for step in range(1, min(reach, distance2.shape[1] - 1) + 1):
        farther = distance2 + np.int16(step * step)
        np.minimum(spread[:, step:], farther[:, :-step], out=spread[:, step:])
        np.minimum(spread[:, :-step], farther[:, step:], out=spread[:, :-step])
    return spread
