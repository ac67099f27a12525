"""Which cells of a plane lie near which mark, so that a mark's neighbours can be left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.particle.sites import SiteBoxes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.crops import Crops
    from motemap.particle.sites import Sites


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cover:
    """A plane covered by round marks, and the n of them that are looked at.

    Parameters
    ----------
    owner : (H, W) unsigned integers
        0 where no mark lies, else the number of the one that does; the last is several marks'.
    own : (n,) unsigned integers
        Numbers of the marks that are looked at; several may share one, and do not hide each other.
    """

    owner: NDArray[np.unsignedinteger]
    own: NDArray[np.unsignedinteger]

    @classmethod
    def of(
        cls,
        sites: Sites,
        reach_cell: NDArray[np.float64],
        shape: tuple[int, ...],
        is_as_one: NDArray[np.bool_] | None = None,
    ) -> Cover:
        """Cover a plane with all marks of a frame, each as far as it reaches; some count as one."""
        n_marks = len(reach_cell)
        owner = np.zeros(shape, np.min_scalar_type(n_marks + 1))
        own = np.arange(1, n_marks + 1, dtype=owner.dtype)
        if is_as_one is not None:
            own[is_as_one] = own[is_as_one].min(initial=n_marks)
        cells = owner.reshape(-1)
        covered = []
        for some in sites.batches(reach_cell):
            marks = sites.only(some)
            boxes = SiteBoxes.around(marks, reach_cell[some], shape)
            reach2 = np.square(reach_cell[some]).astype(np.float32)
            down2, across2 = boxes.away2(marks.row, marks.col)
            mark, row, col = np.nonzero(down2 + across2 <= reach2[:, None, None])
            place = (boxes.windows.top[mark] + row) * shape[1] + boxes.windows.left[mark] + col
            number = own[some[mark]]
            cells[place] = number
            covered.append((place, number))
        # Where several marks lie, all but the last of them find another's number.
        for place, number in covered:
            cells[place[cells[place] != number]] = n_marks + 1
        return cls(owner=owner, own=own)

    def only(self, members: NDArray[np.intp]) -> Cover:
        """Look at some of the marks."""
        return Cover(owner=self.owner, own=self.own[members])

    def hides(self, windows: Crops) -> NDArray[np.bool_]:
        """Return which cells of a window round each mark others lie on, (n, h, w)."""
        owner = windows.cells(self.owner)
        hidden: NDArray[np.bool_] = (owner != 0) & (owner != self.own[:, None, None])
        return hidden
