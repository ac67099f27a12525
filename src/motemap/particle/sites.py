"""Where marks lie in a flattened plane, and the windows of it in which they are looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import px_to_cell
from motemap.crops import Crops

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.records import MeasuredSpot

ROUND_ASPECT = 1.7
"""Length over width of what may be a speck, at most; the models are round."""
WINDOWS_CELLS = 1 << 17
"""Cells of the windows worked on at a time: so much is asked of each that fewer and larger pay."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sites:
    """Where n marks lie, and how wide they are.

    Parameters
    ----------
    row, col : (n,) float64
        Their centres [cells].
    width : (n,) float64
        Full width at half depth [cells].
    """

    row: NDArray[np.float64]
    col: NDArray[np.float64]
    width: NDArray[np.float64]

    @classmethod
    def of(cls, spots: Sequence[MeasuredSpot], bin_px: int) -> Sites:
        """Return the sites of measured marks, in cells of so many pixels a side."""
        return cls(
            row=px_to_cell(np.array([spot.centre.row_px for spot in spots]), bin_px),
            col=px_to_cell(np.array([spot.centre.col_px for spot in spots]), bin_px),
            width=np.array([spot.width_px for spot in spots]) / bin_px,
        )

    def only(self, members: NDArray[np.intp]) -> Sites:
        """Return some of them."""
        return Sites(row=self.row[members], col=self.col[members], width=self.width[members])

    def at(self, row: NDArray[np.float64], col: NDArray[np.float64]) -> Sites:
        """Return them at other places."""
        return Sites(row=row, col=col, width=self.width)

    def batches(self, reach_cell: NDArray[np.float64]) -> Iterator[NDArray[np.intp]]:
        """Yield which to work on at a time: of like reach, the widest first, row by row."""
        side = 2 * np.ceil(reach_cell).astype(np.intp) + 2
        order = np.lexsort((self.row, -side))
        first = 0
        while first < len(order):
            most = max(1, WINDOWS_CELLS // int(side[order[first]]) ** 2)
            yield order[first : first + most]
            first += most


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SiteBoxes:
    """Boxes round n sites, each in a window of the plane; these are as large as the largest asks.

    Parameters
    ----------
    start, stop : (n, 2) int
        Rows and columns at which the boxes start and before which they end.
    windows : Crops
        One a box; one that would reach beyond the plane is moved back into it.
    """

    start: NDArray[np.intp]
    stop: NDArray[np.intp]
    windows: Crops

    @classmethod
    def around(
        cls, sites: Sites, reach_cell: NDArray[np.float64], shape: tuple[int, ...]
    ) -> SiteBoxes:
        """Return the boxes that hold all cells of a plane within reach of some sites."""
        middle = np.stack([sites.row, sites.col], axis=1)
        last = np.array(shape) - 1
        start = np.clip((middle - reach_cell[:, None]).astype(np.intp), 0, last)
        stop = np.clip((middle + reach_cell[:, None]).astype(np.intp) + 2, 1, last + 1)
        height, width = (stop - start).max(axis=0, initial=1).tolist()
        top, left = np.minimum(start, last + 1 - (height, width)).T
        return cls(start=start, stop=stop, windows=Crops(top=top, left=left, shape=(height, width)))

    def only(self, members: NDArray[np.intp]) -> SiteBoxes:
        """Return some of them."""
        top, left = self.windows.top[members], self.windows.left[members]
        return SiteBoxes(
            start=self.start[members],
            stop=self.stop[members],
            windows=Crops(top=top, left=left, shape=self.windows.shape),
        )

    def places(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return the rows and the columns of the windows, (n, h) and (n, w)."""
        height, width = self.windows.shape
        rows = self.windows.top[:, None] + np.arange(height)
        return rows, self.windows.left[:, None] + np.arange(width)

    def hold(self) -> NDArray[np.bool_]:
        """Return which cells of the windows are in the boxes, (n, h, w)."""
        in_rows, in_cols = (
            (places >= self.start[:, axis, None]) & (places < self.stop[:, axis, None])
            for axis, places in enumerate(self.places())
        )
        held: NDArray[np.bool_] = in_rows[:, :, None] & in_cols[:, None, :]
        return held

    def away2(
        self, row: NDArray[np.float64], col: NDArray[np.float64]
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return how far the cells lie from a place in each window, down and across, squared.

        Returns
        -------
        (n, h, 1) and (n, 1, w) float32
        """
        rows, cols = self.places()
        down2 = np.square(rows - row[:, None]).astype(np.float32)
        across2 = np.square(cols - col[:, None]).astype(np.float32)
        return down2[:, :, None], across2[:, None, :]
