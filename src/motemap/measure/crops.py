"""Marks cut out of a flattened frame and stacked, so that many are measured at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.distances import distances2, thicknesses
from motemap.filters import STACK_CELLS
from motemap.planes import cell_values

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.planes import Window
    from motemap.records import FlatFrame, Region

REACH_OF_WIDTH = 1.0
"""Light is summed out to so many widths beyond a mark's region, to hold its bright rim."""
REACH_MIN_CELLS = 4
SIDES = (16, 24, 32, 40, 48, 64)
"""Sides of the maps on which marks are stacked; larger ones are measured one by one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outset:
    """A region, and how far around it is looked at.

    Parameters
    ----------
    index : int
        Place of the region among all of the frame.
    region : Region
    thickness_cell : float
        Diameter of the largest disc within it [cells].
    reach_cell : int
        How far beyond the region's box its surroundings are looked at [cells].
    top_left : tuple of int
        Row and column at which the box so widened begins; negative beyond the picture's edge.
    extent : tuple of int
        Its rows and columns.
    """

    index: int
    region: Region
    thickness_cell: float
    reach_cell: int
    top_left: tuple[int, int]
    extent: tuple[int, int]

    @classmethod
    def of(cls, index: int, region: Region, thickness_cell: float) -> Outset:
        """Look as far beyond a region as its thickness asks."""
        reach = max(REACH_MIN_CELLS, round(REACH_OF_WIDTH * thickness_cell))
        height, width = region.mask.shape
        return cls(
            index=index,
            region=region,
            thickness_cell=thickness_cell,
            reach_cell=reach,
            top_left=(region.top_cell - reach, region.left_cell - reach),
            extent=(height + 2 * reach, width + 2 * reach),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stack:
    """Surroundings of n marks, each at the upper left of a map of h x w cells.

    Parameters
    ----------
    outsets : sequence of Outset
        The marks.
    contrast : (n, h, w) float32
        Mirrored beyond the edge of the picture; 0 outside each box and where it is no number.
    mine, foreign, free : (n, h, w) bool
        Cells of each mark, of others, and usable ones of nobody.
    in_frame : (n, h, w) bool
        Cells of the picture, and all outside each box.
    noise_frac : (n,) float32
        Standard deviation of one cell at each mark.
    """

    outsets: Sequence[Outset]
    contrast: NDArray[np.float32]
    mine: NDArray[np.bool_]
    foreign: NDArray[np.bool_]
    free: NDArray[np.bool_]
    in_frame: NDArray[np.bool_]
    noise_frac: NDArray[np.float32]

    @property
    def thickness_cell(self) -> NDArray[np.float32]:
        """Thickness of each mark, (n,) [cells]."""
        return np.array([one.thickness_cell for one in self.outsets], np.float32)

    @property
    def reach_cell(self) -> NDArray[np.float32]:
        """How far around each mark is looked, (n,) [cells]."""
        return np.array([one.reach_cell for one in self.outsets], np.float32)

    @property
    def extents(self) -> NDArray[np.intp]:
        """Rows and columns of each box, (n, 2)."""
        return np.array([one.extent for one in self.outsets], np.intp)

    def distance2(self) -> NDArray[np.float32] | NDArray[np.int16]:
        """Return the squared distance from each mark, exact within its reach, (n, h, w)."""
        return distances2(self.mine, max(one.reach_cell for one in self.outsets))


def stacks(
    flat: FlatFrame, regions: Sequence[tuple[int, Region]], owner: NDArray[np.int32]
) -> Iterator[Stack]:
    """Yield all marks of a frame, those of like size stacked.

    Parameters
    ----------
    flat : FlatFrame
    regions : sequence of tuple of int and Region
        Each with its index.
    owner : (H, W) int32
        0 where free, else 1 + index of the region.
    """
    thick = thicknesses([region.mask for _, region in regions])
    outsets = [
        Outset.of(index, region, thickness)
        for (index, region), thickness in zip(regions, thick, strict=True)
    ]
    by_side: dict[int | None, list[Outset]] = {}
    for one in outsets:
        side = next((side for side in SIDES if max(one.extent) <= side), None)
        by_side.setdefault(side, []).append(one)
    for side, members in by_side.items():
        most = 1 if side is None else STACK_CELLS // side**2
        for first in range(0, len(members), most):
            yield _stack(flat, members[first : first + most], owner, side)


def _stack(
    flat: FlatFrame, outsets: Sequence[Outset], owner: NDArray[np.int32], side: int | None
) -> Stack:
    boxes = [_clipped(one, *flat.contrast.shape) for one in outsets]
    shape = (len(outsets), *(outsets[0].extent if side is None else (side, side)))
    stack = Stack(
        outsets=outsets,
        contrast=np.zeros(shape, np.float32),
        mine=np.zeros(shape, bool),
        foreign=np.zeros(shape, bool),
        free=np.zeros(shape, bool),
        in_frame=np.ones(shape, bool),
        noise_frac=_noise_at(flat, outsets, boxes),
    )
    windows = [_window(flat, one, box) for one, box in zip(outsets, boxes, strict=True)]
    for place, (one, box, window) in enumerate(zip(outsets, boxes, windows, strict=True)):
        seen, near = _within(one, box), owner[box]
        is_free = near == 0
        stack.foreign[place][seen] = ~is_free & (near != one.index + 1)
        stack.free[place][seen] = is_free & flat.valid[box]
        reach, (height, width) = one.reach_cell, one.region.mask.shape
        stack.mine[place, reach : reach + height, reach : reach + width] = one.region.mask
        _lay(stack, place, window, seen)
    # Light that is no number may be marked as usable by a caller; it would spoil every sum.
    if not math.isfinite(float(stack.contrast.sum())):
        broken = ~np.isfinite(stack.contrast)
        stack.free[broken] = False
        stack.contrast[broken] = 0.0
    return stack


def _window(flat: FlatFrame, one: Outset, box: Window) -> NDArray[np.float32]:
    """Return the contrast round a mark, the shadows of others that lie over it taken off."""
    region = one.region
    if region.alone is None:
        return flat.contrast[box]
    window = flat.contrast[box].copy()
    top, left = region.top_cell - box[0].start, region.left_cell - box[1].start
    height, width = region.alone.shape
    window[top : top + height, left : left + width] = region.alone
    return window


def _within(one: Outset, box: Window) -> Window:
    """Return where in a mark's own box the part of it lies that is in the picture."""
    (top, left), (rows, cols) = one.top_left, box
    return slice(rows.start - top, rows.stop - top), slice(cols.start - left, cols.stop - left)


def _lay(stack: Stack, place: int, window: NDArray[np.float32], seen: Window) -> None:
    """Lay a mark's window into the stack, mirrored where the picture ends."""
    height, width = stack.outsets[place].extent
    whole = (slice(0, height), slice(0, width))
    if window.shape == (height, width):
        stack.contrast[place][whole] = window
        return
    stack.in_frame[place][whole] = False
    stack.in_frame[place][seen] = True
    around = [(part.start, full.stop - part.stop) for part, full in zip(seen, whole, strict=True)]
    stack.contrast[place][whole] = np.pad(window, around, mode="symmetric")


def _clipped(one: Outset, n_rows: int, n_cols: int) -> Window:
    """Return the part of a box that lies in the picture."""
    (top, left), (height, width) = one.top_left, one.extent
    return (
        slice(max(top, 0), min(top + height, n_rows)),
        slice(max(left, 0), min(left + width, n_cols)),
    )


def _noise_at(
    flat: FlatFrame, outsets: Sequence[Outset], boxes: Sequence[Window]
) -> NDArray[np.float32]:
    """Return the noise at each mark: its median round a large one, else that in the middle.

    It hardly changes over the width of a small one.
    """
    if max(outsets[0].extent) > SIDES[-1]:
        return np.array([np.median(flat.noise_frac[boxes[0]])], np.float32)
    corners = np.array([one.top_left for one in outsets], np.float64)
    middles = corners + np.array([one.extent for one in outsets]) / 2
    return cell_values(flat.noise_frac, middles[:, 0], middles[:, 1]).astype(np.float32)
