"""How well round shadows of all sizes fit the rings of many marks, all at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.table import amplitude_share
from motemap.particle.radial import ring_means, rings
from motemap.strips import row_strips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.optics.waves import Waves
    from motemap.particle.radial import RadialCells

RINGS_OF_REACH = 24
"""Rings out to where a shadow is fitted ..."""
SMALLEST_RING_CELL = 0.5
"""... but none narrower than this [cells], in which hardly a cell has its middle."""
MODEL_ERROR = 0.02
"""Share of the depth by which an irregular speck strays from a round one."""
COOKED_ERROR = 0.05
"""The same in a picture that a program made of the photosites' light: sharpening, noise reduction
and coding bend a shadow's profile by a few hundredths of its depth (drawn frames)."""
MARKS_LAID = 32
"""Marks that models are laid over at a time: these then stay in the processor's cache."""
TINY = np.finfo(np.float64).tiny
"""Keeps what may be 0 from being divided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rival:
    """What n marks and models of m sizes have in common, in units of the rings' errors.

    Parameters
    ----------
    cross : (n, m) float64
        Mark times model, summed over the rings.
    power : (n, m) float64
        Model squared, summed.
    """

    cross: NDArray[np.float64]
    power: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Overlaps:
    """Sums over the rings out of which every opacity's models follow.

    A model is ``s * cross - s^2 * power`` of the waves, so its sums are polynomials in `s`.
    """

    with_cross: NDArray[np.float64]
    with_power: NDArray[np.float64]
    cross_cross: NDArray[np.float64]
    cross_power: NDArray[np.float64]
    power_power: NDArray[np.float64]

    def at(self, opacity_frac: float) -> Rival:
        """Return the sums for specks of one opacity."""
        share = amplitude_share(opacity_frac)
        power = self.cross_cross - (2 * share) * self.cross_power + share**2 * self.power_power
        return Rival(
            cross=share * self.with_cross - share**2 * self.with_power,
            power=np.maximum(share**2 * power, TINY),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matcher:
    """The rings of n marks, freed of the local level and in units of their errors.

    Parameters
    ----------
    means : (n, m, p) float64
        Takes a curve at p radii to what the m rings would show of it.
    wanted : (n, m) float64
        What the rings do show.
    n_rings : (n,) int
        Rings with light.
    """

    means: NDArray[np.float64]
    wanted: NDArray[np.float64]
    n_rings: NDArray[np.intp]

    @classmethod
    def of(
        cls, cells: RadialCells, n_points: int, step_cell: float, model_error: float = MODEL_ERROR
    ) -> Matcher:
        """Average cells in rings, weigh them, and take out each mark's level."""
        ring_cell = np.maximum(SMALLEST_RING_CELL, cells.reach_cell / RINGS_OF_REACH)
        around = rings(cells, ring_cell)
        peak = np.abs(around.loss).max(axis=1, initial=0.0, keepdims=True)
        noise2 = cells.noise_frac[:, None] ** 2 / np.maximum(around.n_cells, 1)
        variance = np.maximum(noise2 + (model_error * peak) ** 2, TINY)
        weight = np.where(around.n_cells > 0, 1 / variance, 0.0)
        share = weight / np.maximum(weight.sum(axis=1, keepdims=True), TINY)
        means = ring_means(cells, around, n_points, step_cell)
        means -= np.matmul(share[:, None, :], means)
        means *= np.sqrt(weight)[:, :, None]
        level = (share * around.loss).sum(axis=1, keepdims=True)
        return cls(
            means=means,
            wanted=(around.loss - level) * np.sqrt(weight),
            n_rings=np.count_nonzero(weight, axis=1).astype(np.intp),
        )

    @property
    def unexplained(self) -> NDArray[np.float64]:
        """Return the misfit of each mark with nothing at all, (n,)."""
        total: NDArray[np.float64] = np.square(self.wanted).sum(axis=1)
        return total

    def overlaps(self, waves: Waves) -> Overlaps:
        """Lay models of m sizes, given at the p radii, over all marks."""
        n_marks, n_sizes = len(self.means), waves.cross.shape[1]
        wanted = np.matmul(self.wanted[:, None, :], self.means)[:, 0]
        cross_cross, cross_power, power_power = np.empty((3, n_marks, n_sizes))
        for some in row_strips(n_marks, MARKS_LAID):
            cross, power = (self.means[some] @ each for each in (waves.cross, waves.power))
            np.einsum("nrs,nrs->ns", cross, cross, out=cross_cross[some])
            np.einsum("nrs,nrs->ns", cross, power, out=cross_power[some])
            np.einsum("nrs,nrs->ns", power, power, out=power_power[some])
        return Overlaps(
            with_cross=wanted @ waves.cross,
            with_power=wanted @ waves.power,
            cross_cross=cross_cross,
            cross_power=cross_power,
            power_power=power_power,
        )
