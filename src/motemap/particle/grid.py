"""Shadows over a row of distances, and how well each fits the marks of a frame."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

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

TAU_RANGE_UM = (200.0, 4500.0)
"""Air-equivalent distances tried [um]: somewhat beyond what is met on either side, so that dust from
elsewhere finds a place of its own."""
N_TAU = 50
"""Distances tried, each 6.6 % farther than the last: a shadow that is so far off fits visibly worse,
and what lies between follows from the course of the misfit."""
N_POINTS = 48
"""Radii at which models are given."""


class Kind(NamedTuple):
    """What a mark is tried as: the light it stops, and how far a model of that may be scaled."""

    opacity_frac: float
    least_factor: float
    most_factor: float
    is_film: bool


KINDS = (
    Kind(1.0, 0.9, 1.1, is_film=False),
    Kind(0.72, 0.76, 1.25, is_film=False),
    Kind(0.43, 0.7, 1.3, is_film=True),
    Kind(0.14, 0.2, 2.2, is_film=True),
)
"""All opacities from 3 % on, as the shape of a shadow hardly depends on them, and the opaque ones
with some slack for a tone curve or an odd shape. Without films of oil or grease, a wide one could
pass only for a small grain before a blur disc as wide as the film: the overlap of two discs does not
tell which of them is which."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DistanceFits:
    """Best fits of n marks at m distances, as a grain and as a film.

    Parameters
    ----------
    misfit : (2, n, m) float64
        Squared residual, each ring in units of its error, summed.
    particle_um : (2, n, m) float64
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

    def fits(self) -> DistanceFits:
        """Fit all specks at all distances of the grid."""
        step_cell = float(self.cells.reach_cell.max()) / N_POINTS
        matcher = Matcher.of(self.cells, N_POINTS, step_cell)
        # In steps a cell is as wide at all distances: averaging over it is done here, once.
        matcher = replace(
            matcher, means=matcher.means @ smoothing_matrix(N_POINTS, step_cell, 1.0, "speck")
        )
        taus_um = np.exp(log_taus()).tolist()
        fits = for_each(lambda tau_um: self._best(matcher, tau_um, step_cell), taus_um)
        misfit, column = np.stack(fits, axis=3)
        units_um = np.array([wave_length_um(tau_um) for tau_um in taus_um])
        return DistanceFits(
            misfit=misfit,
            particle_um=shadow_table().nodes[column.astype(np.intp)] * units_um,
            n_rings=matcher.n_rings,
        )

    def _best(self, matcher: Matcher, tau_um: float, step_cell: float) -> NDArray[np.float64]:
        """Fit all specks at one distance, as `_best` does."""
        blur = tau_um / self.f_number / wave_length_um(tau_um)
        models = self._models(tau_um, step_cell)
        # At wide apertures even the largest that is tried is narrower than its blur disc.
        largest = models.cross.shape[1] - 1
        narrowest_film = min(int(np.searchsorted(shadow_table().nodes, blur)), largest)
        return _best(matcher, models, narrowest_film)

    def _models(self, tau_um: float, step_cell: float) -> Waves:
        """Return what specks of all sizes take at a distance, by points, (m, n)."""
        unit_um = wave_length_um(tau_um)
        step = step_cell * self.cell_um / unit_um
        blur = tau_um / self.f_number / unit_um
        n_sizes = int(np.searchsorted(shadow_table().nodes, LARGEST_SIZE))
        return blurred(ring_middles(N_POINTS, step), blur, "speck", n_sizes)


def log_taus(steps_each: int = 1) -> NDArray[np.float64]:
    """Return the logarithms of the distances [um], each step of the grid cut in so many."""
    low_um, high_um = TAU_RANGE_UM
    return np.linspace(math.log(low_um), math.log(high_um), (N_TAU - 1) * steps_each + 1)


def _best(matcher: Matcher, models: Waves, narrowest_film: int) -> NDArray[np.float64]:
    """Fit all marks at one distance; size, opacity and local level are free.

    Returns
    -------
    (2, 2, n marks) float64
        Least misfit, and which size has it, as a grain and as a film.
    """
    overlaps, unexplained = matcher.overlaps(models), matcher.unexplained
    marks = np.arange(unexplained.size)
    found = np.full((2, 2, unexplained.size), np.inf)
    for kind in KINDS:
        rival = overlaps.at(kind.opacity_frac)
        factor = rival.cross / rival.power
        np.maximum(factor, kind.least_factor, out=factor)
        np.minimum(factor, kind.most_factor, out=factor)
        # How much less is left unexplained than without any shadow.
        gain = factor * (2 * rival.cross - factor * rival.power)
        if kind.is_film:
            gain[:, :narrowest_film] = -np.inf
        best = gain.argmax(axis=1)
        least = unexplained - gain[marks, best]
        misfit, column = found[:, int(kind.is_film)]
        is_better = least < misfit
        misfit[is_better], column[is_better] = least[is_better], best[is_better]
    return found
