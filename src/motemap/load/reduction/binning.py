"""Sums over squares of pixels."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_LARGEST = np.iinfo(np.uint16).max


def sum_cells(values: NDArray[np.uint16], bin_px: int, largest: int) -> NDArray[np.uint32]:
    """Return sums over whole squares of `bin_px`; what is left over is dropped.

    Rows are added first, while they are contiguous, and in 16 bits as long as sums fit: about
    ten times faster than a mean over a reshaped array.

    Parameters
    ----------
    values : (H, W) uint16
        None above `largest`.
    bin_px : int
        Side of a cell.
    largest : int
        Upper bound of `values`.
    """
    n_rows, n_cols = (side // bin_px for side in values.shape)
    inner = values[: n_rows * bin_px, : n_cols * bin_px]
    is_small = largest * bin_px <= _LARGEST
    rows: NDArray[Any] = inner[::bin_px].astype(np.uint16 if is_small else np.uint32)
    for step in range(1, bin_px):
        rows += inner[step::bin_px]
    total = rows[:, ::bin_px].astype(np.uint32)
    for step in range(1, bin_px):
        total += rows[:, step::bin_px]
    return total


def sum_repeat(
    repeat: NDArray[np.float32], bin_px: int, shape_cells: tuple[int, int]
) -> NDArray[np.float32]:
    """Return what `sum_cells` would give for a plane tiled with `repeat`, (p, p)."""
    period_px = repeat.shape[0]
    whole_px = math.lcm(period_px, bin_px)
    n_tiles, n_cells = whole_px // period_px, whole_px // bin_px
    tiled = np.tile(repeat.astype(np.float64), (n_tiles, n_tiles))
    cells = tiled.reshape(n_cells, bin_px, n_cells, bin_px).sum(axis=(1, 3))
    rows, cols = (np.arange(side) % n_cells for side in shape_cells)
    return np.asarray(cells[np.ix_(rows, cols)], dtype=np.float32)
