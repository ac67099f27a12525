"""Sums, quantiles and blurs over stacks of maps, each with a mask of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import TRUNCATE_SIGMA

if TYPE_CHECKING:
    from numpy.typing import NDArray

HALF = 0.5
TINY = 1e-30


def quantiles(
    values: NDArray[np.float32], mask: NDArray[np.bool_], share: float, empty: float = 0.0
) -> NDArray[np.float32]:
    """Return a quantile of the masked values of each map, `empty` where none is masked, (n,).

    Parameters
    ----------
    values : (n, h, w) float32
    mask : (n, h, w) bool
        True for the values to take.
    share : float
        0.5 is the median; between two values it is interpolated.
    empty : float
    """
    flat_mask = mask.reshape(len(mask), -1)
    rising = np.where(flat_mask, values.reshape(len(values), -1), np.float32(np.inf))
    rising.sort(axis=1)
    n_values = np.count_nonzero(flat_mask, axis=1)
    place = np.maximum(n_values - 1, 0) * share
    lower = place.astype(np.intp)
    upper = np.minimum(lower + 1, np.maximum(n_values - 1, 0))
    maps = np.arange(len(values))
    low, high = rising[maps, lower], rising[maps, upper]
    is_empty = n_values == 0
    low[is_empty] = high[is_empty] = empty
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
    maps: NDArray[np.float32], sigma_cell: NDArray[np.float32], extents: NDArray[np.intp]
) -> NDArray[np.float32]:
    """Blur each map with a Gaussian of its own.

    Parameters
    ----------
    maps : (n, h, w) float32
    sigma_cell : (n,) float32
        Standard deviations [cells].
    extents : (n, 2) int
        Rows and columns of each map that hold anything; what lies beyond counts for nothing.
    """
    in_rows, in_cols = (
        np.arange(side) < extent[:, None]
        for side, extent in zip(maps.shape[1:], extents.T, strict=True)
    )
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


def _weights(n_cells: int, sigma_cell: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the matrices that blur along an axis but for a factor, (n, cells, cells)."""
    steps = np.arange(n_cells)
    reach = np.floor(TRUNCATE_SIGMA * sigma_cell + HALF)
    falling = np.exp(-HALF * (steps.astype(np.float32) / sigma_cell[:, None]) ** 2)
    falling[steps > reach[:, None]] = 0
    weights: NDArray[np.float32] = falling[:, np.abs(steps[:, None] - steps)]
    return weights
