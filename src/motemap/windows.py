"""Looking at one mark after the other in planes that give windows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows

Box = tuple[slice, slice]
"""Rows and columns of a window; both ends are given and lie within the plane."""
TILE_CELLS: Final = 192


def tile_order(rows: NDArray[np.float64], cols: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the order that takes places tile by tile, so that neighbours follow each other.

    Parameters
    ----------
    rows, cols : (n,) float64
        Places in cells.
    """
    return np.lexsort((cols // TILE_CELLS, rows // TILE_CELLS))


def cell_values(
    plane: Windows, rows: NDArray[np.float64], cols: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the values of the cells nearest to some places, (n,); places outside are moved in.

    Parameters
    ----------
    plane : Windows
        (H, W) float32
    rows, cols : (n,) float64
        Places in cells.
    """
    last_row, last_col = plane.shape[0] - 1, plane.shape[1] - 1
    down = np.clip(np.rint(rows), 0, last_row).astype(np.intp).tolist()
    right = np.clip(np.rint(cols), 0, last_col).astype(np.intp).tolist()
    values = [
        plane[row : row + 1, col : col + 1][0, 0] for row, col in zip(down, right, strict=True)
    ]
    return np.array(values, dtype=np.float64)
