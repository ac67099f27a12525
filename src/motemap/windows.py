"""Small windows out of a plane, for stages that look at one mark after the other.

A plane may be an array, or an object that reckons each window when it is asked for. There a
window has a price of its own, so where marks crowd one larger tile is asked for and cut up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

Box = tuple[slice, slice]
"""Rows and columns of a window; both ends are given and lie within the plane."""
TILE_CELLS: Final = 192
CROWD: Final = 4
"""So many windows that begin in one tile are cut from one piece."""


class Plane(Protocol):
    """Anything that gives rectangular windows: an array, or what reckons them on demand."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        ...

    def __getitem__(self, window: Box, /) -> NDArray[np.float32]:
        """Return a window."""
        ...


def tile_order(rows: NDArray[np.float64], cols: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the order that takes places tile by tile, so that neighbours follow each other.

    Parameters
    ----------
    rows, cols : (n,) float64
        Places in cells.
    """
    return np.lexsort((cols // TILE_CELLS, rows // TILE_CELLS))


def cut_windows(plane: Plane, boxes: Sequence[Box]) -> list[NDArray[np.float32]]:
    """Return the window of every box, in the order given; do not write to them.

    Parameters
    ----------
    plane : Plane
        (H, W) float32
    boxes : sequence of Box
    """
    if isinstance(plane, np.ndarray):
        return [plane[box] for box in boxes]
    tiles: dict[tuple[int, int], list[int]] = {}
    for index, (rows, cols) in enumerate(boxes):
        tiles.setdefault((rows.start // TILE_CELLS, cols.start // TILE_CELLS), []).append(index)
    windows: dict[int, NDArray[np.float32]] = {}
    for members in tiles.values():
        if len(members) < CROWD:
            windows.update((index, plane[boxes[index]]) for index in members)
            continue
        top, left, whole = _piece_round([boxes[index] for index in members])
        piece = plane[whole]
        for index in members:
            rows, cols = boxes[index]
            windows[index] = piece[
                rows.start - top : rows.stop - top, cols.start - left : cols.stop - left
            ]
    return [windows[index] for index in range(len(boxes))]


def _piece_round(boxes: Sequence[Box]) -> tuple[int, int, Box]:
    """Return the top and left end of the smallest box round all, and that box."""
    top, left = min(rows.start for rows, _ in boxes), min(cols.start for _, cols in boxes)
    bottom, right = max(rows.stop for rows, _ in boxes), max(cols.stop for _, cols in boxes)
    return top, left, (slice(top, bottom), slice(left, right))


def cell_values(
    plane: Plane, rows: NDArray[np.float64], cols: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the values of the cells nearest to some places, (n,); places outside are moved in.

    Parameters
    ----------
    plane : Plane
        (H, W) float32
    rows, cols : (n,) float64
        Places in cells.
    """
    last_row, last_col = plane.shape[0] - 1, plane.shape[1] - 1
    down = np.clip(np.rint(rows), 0, last_row).astype(np.intp)
    right = np.clip(np.rint(cols), 0, last_col).astype(np.intp)
    if isinstance(plane, np.ndarray):
        return np.asarray(plane[down, right], dtype=np.float64)
    boxes = [
        (slice(row, row + 1), slice(col, col + 1))
        for row, col in zip(down.tolist(), right.tolist(), strict=True)
    ]
    return np.array([window[0, 0] for window in cut_windows(plane, boxes)], dtype=np.float64)
