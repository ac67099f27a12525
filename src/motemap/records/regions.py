"""The marks of a frame as columns: one entry a mark, and all their cells in one list."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from motemap.records.cells import Cells
from motemap.records.detection import Region

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Regions:
    """Cells that belong to n marks; see `Region`.

    Parameters
    ----------
    cells : Cells
        Of all marks.
    start, stop : (n, 2) int
        Row and column at which the box of each begins, and those before which it ends [cells].
    snr, scale_cell : (n,) float64
    thickness_cell : (n,) float64
        Diameter of the largest disc inside, ends on cells outside [cells].
    alone : mapping of int to (h, w) float32
        By number of the mark: contrast in its box with the shadows of others that lie over this
        one taken off.
    """

    cells: Cells
    start: NDArray[np.intp]
    stop: NDArray[np.intp]
    snr: NDArray[np.float64]
    scale_cell: NDArray[np.float64]
    thickness_cell: NDArray[np.float64]
    alone: Mapping[int, NDArray[np.float32]] = field(default_factory=dict)

    @classmethod
    def none(cls) -> Regions:
        """Return none at all."""
        return cls(
            cells=Cells.of([], []),
            start=np.empty((0, 2), np.intp),
            stop=np.empty((0, 2), np.intp),
            snr=np.empty(0),
            scale_cell=np.empty(0),
            thickness_cell=np.empty(0),
        )

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.snr)

    def only(self, kept: NDArray[np.bool_]) -> Regions:
        """Keep some of them, (n,)."""
        return self if kept.all() else self.chosen(np.flatnonzero(kept))

    def chosen(self, some: NDArray[np.intp]) -> Regions:
        """Return some of them, in their order."""
        return Regions(
            cells=self.cells.of_masks(some),
            start=self.start[some],
            stop=self.stop[some],
            snr=self.snr[some],
            scale_cell=self.scale_cell[some],
            thickness_cell=self.thickness_cell[some],
            alone={
                place: self.alone[number]
                for place, number in enumerate(some.tolist() if self.alone else ())
                if number in self.alone
            },
        )

    def with_others(self, others: Regions) -> Regions:
        """Return these, and others after them."""
        return Regions(
            cells=Cells.joined([self.cells, others.cells]),
            start=np.concatenate([self.start, others.start]),
            stop=np.concatenate([self.stop, others.stop]),
            snr=np.concatenate([self.snr, others.snr]),
            scale_cell=np.concatenate([self.scale_cell, others.scale_cell]),
            thickness_cell=np.concatenate([self.thickness_cell, others.thickness_cell]),
            alone={
                **self.alone,
                **{len(self) + number: light for number, light in others.alone.items()},
            },
        )

    def singly(self) -> tuple[Region, ...]:
        """Return each by itself."""
        columns = zip(
            self.start.tolist(),
            self._masks(),
            self.snr.tolist(),
            self.scale_cell.tolist(),
            strict=True,
        )
        return tuple(
            Region(
                top_cell=top,
                left_cell=left,
                mask=mask,
                snr=snr,
                scale_cell=scale_cell,
                alone=self.alone.get(number),
            )
            for number, ((top, left), mask, snr, scale_cell) in enumerate(columns)
        )

    def _masks(self) -> Iterator[NDArray[np.bool_]]:
        """Yield the mask of each, (h, w), all drawn into one array."""
        cells, of_mask, extents = self.cells, self.cells.mask, self.stop - self.start
        last = np.cumsum(extents.prod(axis=1))
        first = last - extents.prod(axis=1)
        down, right = cells.row - self.start[of_mask, 0], cells.col - self.start[of_mask, 1]
        drawn = np.zeros(int(extents.prod(axis=1).sum()), np.bool_)
        drawn[first[of_mask] + down * extents[of_mask, 1] + right] = True
        for begin, end, shape in zip(first.tolist(), last.tolist(), extents.tolist(), strict=True):
            yield drawn[begin:end].reshape(shape)
