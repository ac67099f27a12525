"""The connected pieces of a frame: each is a mark, or several that touch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from motemap.filters import NOISE_OF_BLUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.masks import Box, Boxes
    from motemap.records import Cells

Value = TypeVar("Value", bound=np.generic)

LOW_OF_PEAK = 0.125
"""Depth over the peak's down to which a clump's area is taken: faint marks count as well."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clump:
    """A connected piece.

    Parameters
    ----------
    box : (slice, slice)
        Where it lies in the plane.
    inside : (h, w) bool
        Its cells.
    depth : (h, w) float32
        Smoothed depth, positive where darker; 0 outside.
    sigma_cell : float
        Gaussian sigma of that smoothing [cells].
    noise_frac : float
        Noise of a cell there, as the frame has it.
    snr : float
        Largest significance inside.
    low_area : int
        How many cells are as deep as `LOW_OF_PEAK`.
    """

    box: Box
    inside: NDArray[np.bool_]
    depth: NDArray[np.float32]
    sigma_cell: float
    noise_frac: float
    snr: float
    low_area: int

    @property
    def scatter(self) -> float:
        """Standard deviation of `depth`."""
        return self.noise_frac / (NOISE_OF_BLUR * self.sigma_cell)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clumps:
    """The n connected pieces of a frame, and their k cells; see `Clump`.

    Parameters
    ----------
    cells : Cells
    depth : (k,) float32
    is_low : (k,) bool
        Cells as deep as `LOW_OF_PEAK`.
    boxes : Boxes
    sigma_cell, noise_frac, snr : (n,) float64
    has_rivals : (n,) bool
        Whether there is more than one peak that may be a mark.
    """

    cells: Cells
    depth: NDArray[np.float32]
    is_low: NDArray[np.bool_]
    boxes: Boxes
    sigma_cell: NDArray[np.float64]
    noise_frac: NDArray[np.float64]
    snr: NDArray[np.float64]
    has_rivals: NDArray[np.bool_]

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.boxes)

    def __getitem__(self, number: int) -> Clump:
        """Return one by itself."""
        own = self.own(number)
        return Clump(
            box=self.boxes[number],
            inside=self.map_of(number, np.ones(own.stop - own.start, np.bool_)),
            depth=self.map_of(number, self.depth[own]),
            sigma_cell=float(self.sigma_cell[number]),
            noise_frac=float(self.noise_frac[number]),
            snr=float(self.snr[number]),
            low_area=int(np.count_nonzero(self.is_low[own])),
        )

    def own(self, number: int) -> slice:
        """Return where among all cells those of one clump are."""
        return slice(*self.cells.first[number : number + 2].tolist())

    def map_of(self, number: int, values: NDArray[Value]) -> NDArray[Value]:
        """Lay values of one clump's cells where they belong in its box, 0 elsewhere, (h, w)."""
        own, start = self.own(number), self.boxes.start[number]
        field = np.zeros(self.boxes.stop[number] - start, values.dtype)
        field[self.cells.row[own] - start[0], self.cells.col[own] - start[1]] = values
        return field

    def low_areas(self) -> NDArray[np.intp]:
        """Return how many cells of each are as deep as `LOW_OF_PEAK`, (n,)."""
        return self.cells.only(self.is_low).counts
