"""The shadows of marks that lie over one another, so that each can be looked at without the rest.

A mark whose neighbours are hidden from it has hardly anything left to look at once they reach
over its middle. Such marks are fitted together instead: what the others take, as far as it is
known, is taken off the light around each, and all are fitted anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.particle.sites import SiteBoxes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.shot_optics import FrameOptics
    from motemap.particle.sites import Sites

DEEPEST_LOSS = 0.9
"""Where the others take more than this, too little light is left to tell one's own part."""
DEEPEST_OTHERS = 3.0
"""The same where they are so many times as dense as a mark at its densest: errors of theirs would
outweigh it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shades:
    """What all marks that lie over others take, and the n of them that are looked at.

    Light passes them one after another, so their densities add up, not the shares lost.

    Parameters
    ----------
    together : (H, W) float32
        Their density in all.
    sites : Sites
        Marks that are looked at.
    reach_cell : (n,) float64
        Out to where the shadow of each is known [cells].
    curves : (n, m) float32
        Density of each, at distances ``(i + 1/2) step_cell`` from its middle.
    step_cell : float
    """

    together: NDArray[np.float32]
    sites: Sites
    reach_cell: NDArray[np.float64]
    curves: NDArray[np.float32]
    step_cell: float

    @classmethod
    def of(
        cls,
        sites: Sites,
        reach_cell: NDArray[np.float64],
        loss: NDArray[np.float64],
        optics: FrameOptics,
        shape: tuple[int, ...],
    ) -> Shades:
        """Lay shadows over each other that lose so much at the radii of the optics, (n, m)."""
        radius_um = optics.shadows.radius_um
        shades = cls(
            together=np.zeros(shape, np.float32),
            sites=sites,
            reach_cell=reach_cell,
            curves=-np.log1p(-np.minimum(loss, DEEPEST_LOSS)).astype(np.float32),
            step_cell=float(radius_um[1] - radius_um[0]) / optics.cell_um,
        )
        cells = shades.together.reshape(-1)
        for some in sites.batches(reach_cell):
            part = shades.only(some)
            boxes = SiteBoxes.around(part.sites, part.reach_cell, shape)
            own = part.own(boxes)
            mark, row, col = np.nonzero(own)
            place = (boxes.windows.top[mark] + row) * shape[1] + boxes.windows.left[mark] + col
            np.add.at(cells, place, own[mark, row, col])
        return shades

    def only(self, members: NDArray[np.intp]) -> Shades:
        """Look at some of the marks."""
        return Shades(
            together=self.together,
            sites=self.sites.only(members),
            reach_cell=self.reach_cell[members],
            curves=self.curves[members],
            step_cell=self.step_cell,
        )

    def own(self, boxes: SiteBoxes) -> NDArray[np.float32]:
        """Return the density of each mark in a window round it, (n, h, w)."""
        down2, across2 = boxes.away2(self.sites.row, self.sites.col)
        away = np.sqrt(down2 + across2)
        n_points = self.curves.shape[1]
        place = np.clip(
            away * np.float32(1 / self.step_cell) - np.float32(0.5), 0, n_points - 1.001
        )
        lower = place.astype(np.intp)
        share = place - lower
        lower += (np.arange(len(away)) * n_points)[:, None, None]
        values = self.curves.ravel()
        density: NDArray[np.float32] = values[lower] * (1 - share) + values[lower + 1] * share
        density[away > self.reach_cell.astype(np.float32)[:, None, None]] = 0
        return density

    def take_off(
        self, loss: NDArray[np.float32], boxes: SiteBoxes
    ) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        """Take what the others lose off windows round each mark; also say where that cannot be."""
        others = boxes.windows.cells(self.together) - self.own(boxes)
        densest = np.minimum(
            DEEPEST_OTHERS * self.curves.max(axis=1), -np.log1p(np.float32(-DEEPEST_LOSS))
        )
        freed = 1 - (1 - loss) * np.exp(others)
        return freed, others > densest[:, None, None]
