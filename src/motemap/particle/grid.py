"""Shadows over a row of distances, and how well each fits a mark."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.table import shadow_table, wave_length_um
from motemap.optics.waves import Waves, blurred, ring_middles, smoothed
from motemap.particle.radial import Crop, ring_means, rings

if TYPE_CHECKING:
    from numpy.typing import NDArray

TAU_RANGE_UM = (150.0, 6000.0)
N_TAU = 88
N_POINTS = 96
RINGS_OF_REACH = 24
SMALLEST_RING_CELL = 0.5
MODEL_ERROR = 0.02
"""Share of the depth by which an irregular speck strays from a round one."""
OPACITIES = (1.0, 0.8, 0.62, 0.48)
DEPTH_SLACK = (0.9, 1.1)
"""Factor by which a shadow may be deeper than the model: a tone curve, an odd shape."""
LARGEST_SIZE = 14.0
"""Largest diameter tried, in units of sqrt(lambda0 tau); larger ones tell no distance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Best fit of one mark at one distance.

    Parameters
    ----------
    misfit : float
        Squared residual, each ring in units of its error, summed.
    particle_um : float
        Diameter [um].
    opacity_frac : float
        Share of the light stopped (0-1).
    """

    misfit: float
    particle_um: float
    opacity_frac: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelGrid:
    """Shadows of all sizes at a row of distances, reckoned when they are asked for.

    Parameters
    ----------
    f_number : float
        Aperture.
    cell_um : float
        Side of a cell [um].
    reach_cell : float
        Largest distance from a centre that is asked for [cells].
    """

    f_number: float
    cell_um: float
    reach_cell: float
    known: dict[int, Waves] = field(default_factory=dict)

    @property
    def step_cell(self) -> float:
        """Step of the radii at which shadows are given [cells]."""
        return self.reach_cell / N_POINTS

    def at(self, row: int) -> Waves:
        """Return what specks of all sizes take at the distance of a row, (m, n)."""
        if row not in self.known:
            tau = tau_um(row)
            unit_um = wave_length_um(tau)
            step = self.step_cell * self.cell_um / unit_um
            sharp = blurred(ring_middles(N_POINTS, step), tau / self.f_number / unit_um, "speck")
            soft = smoothed(sharp, step, self.cell_um / unit_um, "speck")
            n_sizes = int(np.searchsorted(shadow_table().nodes, LARGEST_SIZE))
            self.known[row] = Waves(
                cross=np.ascontiguousarray(soft.cross[:, :n_sizes]),
                power=np.ascontiguousarray(soft.power[:, :n_sizes]),
            )
        return self.known[row]


def tau_um(row: float) -> float:
    """Return the distance of a row of the grid [um]."""
    return TAU_RANGE_UM[0] * math.exp(row * tau_step())


def tau_step() -> float:
    """Return the step of the grid in the logarithm of the distance."""
    low, high = TAU_RANGE_UM
    return math.log(high / low) / (N_TAU - 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RingFitter:
    """The rings of one mark, ready to be fitted at any distance of a grid."""

    grid: ModelGrid
    means: NDArray[np.float64]
    loss: NDArray[np.float64]
    weights: NDArray[np.float64]

    @classmethod
    def of(cls, crop: Crop, grid: ModelGrid) -> RingFitter:
        """Average a crop in rings and weigh them."""
        around = rings(crop, max(SMALLEST_RING_CELL, crop.reach_cell / RINGS_OF_REACH))
        peak = float(np.abs(around.loss).max())
        variance = crop.noise_frac**2 / np.maximum(around.n_cells, 1) + (MODEL_ERROR * peak) ** 2
        return cls(
            grid=grid,
            means=ring_means(crop, around, N_POINTS, grid.step_cell),
            loss=around.loss,
            weights=np.where(around.n_cells > 0, 1 / variance, 0),
        )

    @property
    def n_rings(self) -> int:
        """Number of rings with light."""
        return int(np.count_nonzero(self.weights))

    def at(self, row: int) -> Fit:
        """Return the best fit at the distance of a row; size, opacity and level are free."""
        waves = self.grid.at(row)
        seen = Waves(cross=self.means @ waves.cross, power=self.means @ waves.power)
        unit_um = wave_length_um(tau_um(row))
        best = Fit(misfit=math.inf, particle_um=0.0, opacity_frac=1.0)
        for opacity in OPACITIES:
            misfits = _misfits(seen.loss(opacity), self.loss, self.weights)
            column = int(misfits.argmin())
            if misfits[column] < best.misfit:
                best = Fit(
                    misfit=float(misfits[column]),
                    particle_um=float(shadow_table().nodes[column] * unit_um),
                    opacity_frac=opacity,
                )
        return best


def _misfits(
    models: NDArray[np.float64], loss: NDArray[np.float64], weights: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the weighted squared misfit of each model; level free, depth nearly fixed."""
    total = weights.sum()
    model = models - (weights @ models) / total
    wanted = loss - (weights @ loss) / total
    power = np.maximum(weights @ model**2, np.finfo(np.float64).tiny)
    cross = (weights * wanted) @ model
    factor = np.clip(cross / power, *DEPTH_SLACK)
    misfits: NDArray[np.float64] = weights @ wanted**2 - 2 * factor * cross + factor**2 * power
    return misfits
