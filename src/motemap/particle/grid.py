"""Shadows over a row of distances, and how well each fits the marks of a frame."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.table import shadow_table, wave_length_um
from motemap.optics.waves import blurred, ring_middles, smoothing_matrix
from motemap.particle.match import Matcher
from motemap.particle.shot_optics import LARGEST_SIZE
from motemap.strips import for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.optics.waves import Waves
    from motemap.particle.radial import RadialCells

TAU_RANGE_UM = (150.0, 6000.0)
"""Air-equivalent distances tried [um]: from within a cover glass to twice the thickest stacks."""
N_TAU = 88
"""Distances tried, each 4 % farther than the last."""
DISTANCE_OPACITIES = (1.0, 0.8, 0.62, 0.48)
"""Opacities tried at each distance: the distance hardly depends on them, so that few are enough."""
DEPTH_SLACK = (0.9, 1.1)
"""Factor by which a shadow may be deeper than the model: a tone curve, an odd shape."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DistanceFits:
    """Best fits of n marks at m distances.

    Parameters
    ----------
    misfit : (m, n) float64
        Squared residual, each ring in units of its error, summed.
    particle_um : (m, n) float64
        Diameter [um].
    n_rings : (n,) int
        Rings with light of each mark.
    """

    misfit: NDArray[np.float64]
    particle_um: NDArray[np.float64]
    n_rings: NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Voters:
    """Specks that are to tell the distance, and the optics they were seen through.

    Parameters
    ----------
    cells : RadialCells
        Their light.
    f_number : float
        Aperture.
    cell_um : float
        Side of a cell [um].
    """

    cells: RadialCells
    f_number: float
    cell_um: float

    def fits(self, rows: range, n_points: int) -> DistanceFits:
        """Fit all specks at some rows of the grid, with models given at so many radii."""
        step_cell = float(self.cells.reach_cell.max()) / n_points
        matcher = Matcher.of(self.cells, n_points, step_cell)
        # In steps a cell is as wide at all distances: averaging over it is done here, once.
        matcher = replace(
            matcher, means=matcher.means @ smoothing_matrix(n_points, step_cell, 1.0, "speck")
        )
        fits = for_each(lambda row: _best(matcher, self._models(row, n_points, step_cell)), rows)
        nodes = shadow_table().nodes
        sizes = [
            nodes[column] * wave_length_um(tau_um(row))
            for row, (_, column) in zip(rows, fits, strict=True)
        ]
        return DistanceFits(
            misfit=np.array([misfit for misfit, _ in fits]),
            particle_um=np.array(sizes),
            n_rings=matcher.n_rings,
        )

    def _models(self, row: int, n_points: int, step_cell: float) -> Waves:
        """Return what specks of all sizes take at the distance of a row, by points, (m, n)."""
        unit_um = wave_length_um(tau_um(row))
        step = step_cell * self.cell_um / unit_um
        blur = tau_um(row) / self.f_number / unit_um
        n_sizes = int(np.searchsorted(shadow_table().nodes, LARGEST_SIZE))
        return blurred(ring_middles(n_points, step), blur, "speck", n_sizes)


def tau_um(row: float) -> float:
    """Return the distance of a row of the grid [um]."""
    return TAU_RANGE_UM[0] * math.exp(row * tau_step())


def tau_step() -> float:
    """Return the step of the grid in the logarithm of the distance."""
    low, high = TAU_RANGE_UM
    return math.log(high / low) / (N_TAU - 1)


def _best(matcher: Matcher, models: Waves) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Return each mark's least misfit, and the size that has it; opacity and level are free."""
    overlaps, unexplained = matcher.overlaps(models), matcher.unexplained
    misfit, column = np.full(unexplained.size, np.inf), np.zeros(unexplained.size, np.intp)
    for opacity in DISTANCE_OPACITIES:
        rival = overlaps.at(opacity)
        # The depth is nearly fixed: a factor that hardly differs from 1.
        factor = np.clip(rival.cross / rival.power, *DEPTH_SLACK)
        left = unexplained[:, None] - factor * (2 * rival.cross - factor * rival.power)
        best = left.argmin(axis=1)
        least = left.min(axis=1)
        column = np.where(least < misfit, best, column)
        misfit = np.minimum(misfit, least)
    return misfit, column
