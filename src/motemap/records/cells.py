"""The cells of many masks, listed one after the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """The k cells of n masks, mask by mask.

    Parameters
    ----------
    first : (n + 1,) int
        Where the cells of each mask begin, and where the last ones end.
    row, col : (k,) int
        Where each cell lies in the plane.
    """

    first: NDArray[np.intp]
    row: NDArray[np.intp]
    col: NDArray[np.intp]

    @classmethod
    def of(
        cls,
        masks: Sequence[NDArray[np.bool_]],
        corners: Sequence[tuple[int, int]] | NDArray[np.intp],
    ) -> Cells:
        """List the cells of masks, given the row and column at which each begins."""
        if not masks:
            none = np.empty(0, np.intp)
            return cls(first=np.zeros(1, np.intp), row=none, col=none)
        starts = _starts(np.array([mask.size for mask in masks]))
        place = np.flatnonzero(np.concatenate([mask.ravel() for mask in masks]))
        first = np.searchsorted(place, starts)
        of_mask = np.repeat(np.arange(len(masks)), np.diff(first))
        width = np.array([mask.shape[1] for mask in masks])
        # Dividing numbers of 32 bits takes a third of the time.
        within = (place - starts[of_mask]).astype(np.int32)
        across = width.astype(np.int32)[of_mask]
        down = within // across
        right = within - down * across
        top, left = np.array(corners, np.intp).T
        return cls(first=first, row=down + top[of_mask], col=right + left[of_mask])

    @classmethod
    def joined(cls, parts: Sequence[Cells]) -> Cells:
        """Join lists of cells; masks count on from list to list."""
        return cls(
            first=_starts(np.concatenate([part.counts for part in parts])),
            row=np.concatenate([part.row for part in parts]),
            col=np.concatenate([part.col for part in parts]),
        )

    @property
    def n_masks(self) -> int:
        """How many masks there are."""
        return len(self.first) - 1

    @property
    def counts(self) -> NDArray[np.intp]:
        """How many cells each mask has, (n,)."""
        return np.diff(self.first)

    @property
    def mask(self) -> NDArray[np.intp]:
        """Which of the masks each cell belongs to, (k,)."""
        return np.repeat(np.arange(self.n_masks), self.counts)

    def only(self, kept: NDArray[np.bool_]) -> Cells:
        """Keep some of the cells, (k,)."""
        n_before = _starts(kept)
        return Cells(first=n_before[self.first], row=self.row[kept], col=self.col[kept])

    def of_masks(self, some: NDArray[np.intp]) -> Cells:
        """Return the cells of some of the masks, in their order."""
        place = self.places_of(some)
        return Cells(first=_starts(self.counts[some]), row=self.row[place], col=self.col[place])

    def places_of(self, some: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return where among all cells those of some of the masks are, in their order."""
        first = _starts(self.counts[some])
        return np.arange(first[-1]) + np.repeat(self.first[some] - first[:-1], np.diff(first))

    def numbered(self, mask: NDArray[np.intp], n_masks: int) -> tuple[Cells, NDArray[np.intp]]:
        """Lay the cells to other masks; also return the order in which they then stand.

        Parameters
        ----------
        mask : (k,) int
            Which of the new masks each belongs to.
        n_masks : int
            How many these are.
        """
        order = np.argsort(mask, kind="stable")
        first = _starts(np.bincount(mask, minlength=n_masks))
        return Cells(first=first, row=self.row[order], col=self.col[order]), order

    def middles(self) -> NDArray[np.float64]:
        """Return the mean row and column of each mask, (n, 2); none may be empty."""
        if not self.n_masks:
            return np.empty((0, 2))
        sums = [np.add.reduceat(along, self.first[:-1]) for along in (self.row, self.col)]
        return np.stack(sums, axis=1) / self.counts[:, None]

    def sides(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return where each mask starts and stops, (n, 2): row and column; none may be empty."""
        if not self.n_masks:
            return np.empty((0, 2), np.intp), np.empty((0, 2), np.intp)
        start = [np.minimum.reduceat(along, self.first[:-1]) for along in (self.row, self.col)]
        last = [np.maximum.reduceat(along, self.first[:-1]) for along in (self.row, self.col)]
        return np.stack(start, axis=1), np.stack(last, axis=1) + 1

    def largest(self, values: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the largest of the values at the cells of each mask, (n,); none may be empty."""
        if not self.n_masks:
            return np.empty(0, np.float32)
        return np.asarray(np.maximum.reduceat(values, self.first[:-1]), dtype=np.float32)


def _starts(counts: NDArray[np.integer] | NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return where each of some lists begins that follow one another, and where the last ends."""
    return np.concatenate([np.zeros(1, np.intp), np.cumsum(counts, dtype=np.intp)])
