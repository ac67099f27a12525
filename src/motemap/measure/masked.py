"""Sums, quantiles and blurs over stacks of maps, each with a mask of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from motemap.filters import TRUNCATE_SIGMA

if TYPE_CHECKING:
    from numpy.typing import NDArray

HALF = 0.5
TINY = 1e-30
"""Keeps the weight of lines that hold nothing from being divided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rising:
    """Some values of each of n maps, sorted.

    Parameters
    ----------
    values : (n, m) float32
        Infinite beyond the last.
    n_values : (n,) int
        How many each map has.
    """

    values: NDArray[np.float32]
    n_values: NDArray[np.intp]

    @classmethod
    def of(cls, values: NDArray[np.float32], mask: NDArray[np.bool_]) -> Rising:
        """Sort the masked values of (n, h, w)."""
        chosen = np.where(mask, values, np.float32(np.inf)).reshape(len(values), -1)
        chosen.sort(axis=1)
        return cls(values=chosen, n_values=np.count_nonzero(mask, axis=(1, 2)))

    @classmethod
    def of_lists(cls, values: NDArray[np.float32], n_values: NDArray[np.intp]) -> Rising:
        """Sort values that are listed map by map."""
        table = np.full((len(n_values), int(n_values.max(initial=0)) + 1), np.inf, np.float32)
        table[np.arange(table.shape[1]) < n_values[:, None]] = values
        table.sort(axis=1)
        return cls(values=table, n_values=n_values)

    def strays(self, middle: NDArray[np.float32]) -> Rising:
        """Return how far the values lie from one of each map."""
        away = np.abs(self.values - middle[:, None])
        away.sort(axis=1)
        return Rising(values=away, n_values=self.n_values)

    def quantile(self, share: float, empty: float = 0.0) -> NDArray[np.float32]:
        """Return a quantile of each map's values, `empty` where there are none, (n,).

        Parameters
        ----------
        share : float
            0.5 is the median; between two values it is interpolated.
        empty : float
        """
        last = np.maximum(self.n_values - 1, 0)
        place = last * share
        lower = place.astype(np.intp)
        maps = np.arange(len(last))
        low, high = self.values[maps, lower], self.values[maps, np.minimum(lower + 1, last)]
        low[self.n_values == 0] = high[self.n_values == 0] = empty
        found: NDArray[np.float32] = low + (high - low) * (place - lower).astype(np.float32)
        return found


def total(values: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return the sum of the masked values of each map, (n,)."""
    summed: NDArray[np.float32] = (values * mask).reshape(len(values), -1).sum(axis=1)
    return summed


def largest(values: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return the largest masked value of each map, (n,)."""
    most: NDArray[np.float32] = np.where(mask, values, np.float32(-np.inf)).max(axis=(1, 2))
    return most


def blur(
    maps: NDArray[np.float32],
    sigma_cell: NDArray[np.float32],
    in_rows: NDArray[np.bool_],
    in_cols: NDArray[np.bool_],
) -> NDArray[np.float32]:
    """Blur each map with a Gaussian of its own.

    Parameters
    ----------
    maps : (n, h, w) float32
    sigma_cell : (n,) float32
        Standard deviations [cells].
    in_rows, in_cols : (n, h) and (n, w) bool
        Rows and columns of each map that hold anything; what lies beyond counts for nothing.
    """
    n_rows, n_cols = maps.shape[1:]
    weights = _weights(max(n_rows, n_cols), sigma_cell)
    down, across = weights[:, :n_rows, :n_rows], weights[:, :n_cols, :n_cols]
    held = maps * (in_rows[:, :, None] & in_cols[:, None, :])
    blurred: NDArray[np.float32] = np.matmul(np.matmul(down, held), across)
    # What is cut off is made good afterwards, for which sums along each axis are enough.
    for weight, is_in, axis in ((down, in_rows, 2), (across, in_cols, 1)):
        share = np.matmul(weight, is_in[:, :, None].astype(np.float32))[:, :, 0]
        blurred /= np.expand_dims(np.maximum(share, TINY), axis)
    return blurred


def blur_reach(sigma_cell: NDArray[np.float32]) -> int:
    """Return how far the widest of some Gaussians reaches [cells]."""
    return int(np.floor(TRUNCATE_SIGMA * sigma_cell.max() + HALF))


def _weights(n_cells: int, sigma_cell: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the matrices that blur along an axis but for a factor, (n, cells, cells)."""
    steps = np.arange(n_cells)
    reach = np.floor(TRUNCATE_SIGMA * sigma_cell + HALF)
    falling = np.exp(-HALF * (steps.astype(np.float32) / sigma_cell[:, None]) ** 2)
    falling[steps > reach[:, None]] = 0
    mirrored = np.concatenate([falling[:, :0:-1], falling], axis=1)
    # Each row has the middle one cell further to the right. Laid out anew, map after map:
    # otherwise they are multiplied far more slowly.
    rows = sliding_window_view(mirrored, n_cells, axis=1)[:, ::-1]
    return np.ascontiguousarray(rows)
