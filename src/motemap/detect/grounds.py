"""What is to be explained of clumps, and the cells of many of them piled up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

AWAY_CELLS = 1e6
"""Where the empty places of a pile lie: no shadow reaches there."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What is to be explained of one clump.

    Parameters
    ----------
    density : (h, w) float64
        Optical density.
    cells : (h, w) bool
        The cells that count.
    """

    density: NDArray[np.float64]
    cells: NDArray[np.bool_]

    @property
    def held_frac(self) -> float:
        """Root mean square of the density that counts."""
        held = self.density[self.cells]
        return math.sqrt(float(held @ held) / len(held))

    def patch(self) -> Patch:
        """List the cells that count."""
        rows, cols = np.nonzero(self.cells)
        return Patch(
            row=rows.astype(np.float64), col=cols.astype(np.float64), value=self.density[self.cells]
        )

    def holds(self, row: float, col: float) -> bool:
        """Tell whether the cell nearest to a place counts."""
        down, right = round(row), round(col)
        height, width = self.cells.shape
        return 0 <= down < height and 0 <= right < width and bool(self.cells[down, right])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """The k cells of a ground, listed.

    Parameters
    ----------
    row, col : (k,) float64
        Where each lies in its ground.
    value : (k,) float64
        What is to be explained.
    """

    row: NDArray[np.float64]
    col: NDArray[np.float64]
    value: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Maps:
    """Where the cells of p patches lie, each at the upper left of a map of h x w.

    Parameters
    ----------
    is_cell : (p, h, w) bool
    place : (k,) int
        Of the cells in there, patch by patch.
    """

    is_cell: NDArray[np.bool_]
    place: NDArray[np.intp]

    @classmethod
    def of(cls, patches: Sequence[Patch]) -> Maps:
        """Lay the cells of patches where they belong."""
        row = np.concatenate([patch.row for patch in patches]).astype(np.intp)
        col = np.concatenate([patch.col for patch in patches]).astype(np.intp)
        of_patch = np.repeat(np.arange(len(patches)), [len(patch.value) for patch in patches])
        height, width = int(row.max()) + 1, int(col.max()) + 1
        is_cell = np.zeros((len(patches), height, width), np.bool_)
        place = (of_patch * height + row) * width + col
        is_cell.reshape(-1)[place] = True
        return cls(is_cell=is_cell, place=place)

    def filled(self, values: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
        """Return maps of what the cells of each patch have, 0 elsewhere, (p, h, w)."""
        maps = np.zeros(self.is_cell.shape)
        maps.reshape(-1)[self.place] = np.concatenate(values)
        return maps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatchPile:
    """The cells of p patches, the lists of all filled up to the length k of the longest.

    Parameters
    ----------
    row, col : (p, k) float64
        Where each lies in its ground; far away where there is none.
    value : (p, k) float64
        What is to be explained; 0 where there is no cell.
    n_cells : (p,) int
    """

    row: NDArray[np.float64]
    col: NDArray[np.float64]
    value: NDArray[np.float64]
    n_cells: NDArray[np.intp]

    @classmethod
    def of(cls, patches: Sequence[Patch]) -> PatchPile:
        """Pile up the cells of patches."""
        return cls._filled(
            np.array([len(patch.value) for patch in patches]),
            np.concatenate([patch.row for patch in patches]),
            np.concatenate([patch.col for patch in patches]),
            np.concatenate([patch.value for patch in patches]),
        )

    @classmethod
    def _filled(
        cls,
        n_cells: NDArray[np.intp],
        row: NDArray[np.float64],
        col: NDArray[np.float64],
        value: NDArray[np.float64],
    ) -> PatchPile:
        """Pile up cells that are listed patch by patch."""
        is_cell = np.arange(n_cells.max()) < n_cells[:, None]
        places = np.full((2, *is_cell.shape), AWAY_CELLS)
        places[0][is_cell], places[1][is_cell] = row, col
        values = np.zeros(is_cell.shape)
        values[is_cell] = value
        return cls(row=places[0], col=places[1], value=values, n_cells=n_cells)

    @property
    def is_cell(self) -> NDArray[np.bool_]:
        """Where there are cells, (p, k)."""
        there: NDArray[np.bool_] = np.arange(self.row.shape[1]) < self.n_cells[:, None]
        return there

    def only(self, kept: NDArray[np.bool_]) -> PatchPile:
        """Keep some of the cells of each patch, (p, k)."""
        n_cells = np.count_nonzero(kept, axis=1)
        return self._filled(n_cells, self.row[kept], self.col[kept], self.value[kept])

    def __getitem__(self, some: NDArray[np.intp] | NDArray[np.bool_]) -> PatchPile:
        """Return some of the patches."""
        return PatchPile(
            row=self.row[some],
            col=self.col[some],
            value=self.value[some],
            n_cells=self.n_cells[some],
        )
