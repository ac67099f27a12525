"""What the marks of a frame make, each and together, of the distance of the dust."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.stacks import STACK_RANGE_UM
from motemap.particle.grid import N_TAU, log_taus

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.grid import DistanceFits

FINE = 5
"""Steps into which a step of the grid is divided when likelihoods are added up."""
SHAPE_ERROR = 0.03
"""Error of the distance from one speck far smaller than its blur disc, in logarithm."""
RIM_OF_SIZE = 0.4
"""Softness of a particle's own rim, as a share of its diameter: it adds to that of its shadow as
squares do, and is taken for distance. Of a speck as wide as its blur disc that makes an error of
7 % (drawn frames: 8 %)."""
WIDTHS = tuple(np.geomspace(SHAPE_ERROR, 0.96, 7).tolist())
"""Errors between which those of single marks are interpolated."""
OUTLIER_SHARE = 0.2
"""Share of the marks asked that may be no specks on the stack; a choice, not measured."""
FILM_SHARES = ((0.05, 0.9), (0.5, 0.05), (0.95, 0.05))
"""Shares of films among the marks of a frame that are tried, and how likely each is before anything is
seen: a sensor has oil or has none, and one in ten has, so that one mark does not tell what another is,
but all together do; a choice."""
BEYOND_ERROR = 0.1
"""How quickly, in logarithm, a distance beyond `STACK_RANGE_UM` ceases to be believed; a choice."""
SAME_PEAK = 0.3
"""What lies within so much of the likeliest distance, in logarithm, belongs to its peak."""
LEAST_IN_PEAK = 0.9
"""With less of the likelihood in the highest peak another distance may be the true one; a choice."""
ALIKE = 0.12
"""Spread of sizes, in logarithm, of marks that are as large as one another."""
SURE = 4.6
"""By how much more likely, in logarithm, a distance is that is told for sure: a hundred times."""
TINY = np.finfo(np.float64).tiny
"""Keeps what may be 0 from being divided by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Consensus:
    """What all marks together make of the distance.

    Parameters
    ----------
    log_tau : float
        Logarithm of the distance [um].
    error : float
        Standard error of that.
    n_agreeing : float
        Marks that agree.
    is_clear : bool
        Whether no other distance is nearly as likely.
    """

    log_tau: float
    error: float
    n_agreeing: float
    is_clear: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opinions:
    """How likely k distances are after each of n marks, as a grain and as a film.

    Parameters
    ----------
    log_tau : (k,) float64
        Logarithms of the distances [um].
    shape : (2, n, k) float64
        After the light alone: as if all marks were round and had rims like a cut. What is told of a
        mark adds up to 2.
    rim_error : (2, n, k) float64
        How far the rim of its own leads a mark astray at each distance, in logarithm.
    told : (2, n, k) float64
        With that error.
    """

    log_tau: NDArray[np.float64]
    shape: NDArray[np.float64]
    rim_error: NDArray[np.float64]
    told: NDArray[np.float64]

    @classmethod
    def of(cls, fits: DistanceFits, f_number: float, film_weight: float = 1.0) -> Opinions:
        """Turn misfits into likelihoods; films count with a weight.

        A mark that fits well at two distances, as a film that may be a grain before a wider blur
        disc does, holds both for likely.
        """
        least = fits.misfit.min(axis=(0, 2))
        strays = np.maximum(least / fits.n_rings, 1.0)[:, None]
        fine = fits.misfit @ _spline_weights().T
        # A misfit above what is expected widens the likelihood.
        shape = np.exp(-(fine - fine.min(axis=(0, 2))[:, None]) / 2 / strays)
        shape *= 2 / shape.sum(axis=(0, 2))[:, None]
        size_of_blur = fits.particle_um * f_number / np.exp(log_taus())
        between = np.linspace(0, N_TAU - 1, fine.shape[2])
        low = np.minimum(between.astype(np.intp), N_TAU - 2)
        share = between - low
        size_of_blur = size_of_blur[..., low] * (1 - share) + size_of_blur[..., low + 1] * share
        rim_error = np.log1p(np.square(RIM_OF_SIZE * size_of_blur)) / 2
        told = _widened(shape, np.hypot(SHAPE_ERROR, rim_error))
        told[1] *= film_weight
        return cls(
            log_tau=log_taus(FINE),
            shape=shape,
            rim_error=rim_error,
            told=told,
        )

    def consensus(self) -> Consensus:
        """Let all marks vote, each with a share for being no speck on the stack at all."""
        by_chance = OUTLIER_SHARE / self.log_tau.size
        mixed = np.stack([(1 - OUTLIER_SHARE) * one + by_chance for one in self._by_share()])
        votes = np.log(mixed).sum(axis=1) + _prior(self.log_tau)
        votes += np.log([weight for _, weight in FILM_SHARES])[:, None]
        likely = np.exp(votes - votes.max())
        of_share, likely = likely.sum(axis=1), likely.sum(axis=0) / likely.sum()
        best, share = int(likely.argmax()), int(of_share.argmax())
        log_tau = float(likely @ self.log_tau)
        spread = math.sqrt(float(likely @ np.square(self.log_tau - log_tau)))
        agreeing = 1 - by_chance / mixed[share, :, best]
        in_peak = likely[np.abs(self.log_tau - self.log_tau[best]) < SAME_PEAK].sum()
        return Consensus(
            log_tau=log_tau,
            error=math.hypot(spread * self._scatter(best, agreeing), self._shared(best, agreeing)),
            n_agreeing=float(agreeing.sum()),
            is_clear=bool(in_peak >= LEAST_IN_PEAK) and not self._may_be_mirrored(best, agreeing),
        )

    def _by_share(self) -> list[NDArray[np.float64]]:
        """Return what is told with each share of films among the marks of the frame, (n, k)."""
        grain, film = self.told
        return [(1 - share) * grain + share * film for share, _ in FILM_SHARES]

    def _may_be_mirrored(self, best: int, agreeing: NDArray[np.float64]) -> bool:
        """Tell whether marks as large as one another may as well lie at quite another distance.

        Sizes that differ have mirror images at distances that differ. Of marks alike these agree,
        too, and their light alone can speak against them.
        """
        log_size = np.log(np.expm1(2 * self._rim_errors(best))) / 2
        mean = float(agreeing @ log_size) / float(agreeing.sum())
        spread2 = float(agreeing @ np.square(log_size - mean)) / float(agreeing.sum())
        if spread2 > ALIKE**2:
            return False
        by_light = agreeing @ np.log(np.maximum(self.shape.max(axis=0), TINY))
        is_near = np.abs(self.log_tau - self.log_tau[best]) < SAME_PEAK
        return bool(by_light[is_near].max() - by_light[~is_near].max() < SURE)

    def _scatter(self, best: int, agreeing: NDArray[np.float64]) -> float:
        """Return how much more, or 1, agreeing marks' own distances scatter than they should."""
        error = np.hypot(SHAPE_ERROR, self._rim_errors(best))
        away = self.log_tau - self.log_tau[best]
        near = self.shape.sum(axis=0) * (np.abs(away) < 3 * error[:, None])
        own = near @ away / np.maximum(near.sum(axis=1), TINY)
        chi2 = float(agreeing @ np.square(own / error)) / max(float(agreeing.sum()) - 1, 1.0)
        return math.sqrt(max(chi2, 1.0))

    def _shared(self, best: int, agreeing: NDArray[np.float64]) -> float:
        """Return the error that marks have in common.

        Films of one kind have soft rims of one kind, which many of them do not average out. A grain
        has an outline of its own, and the rim of one that is smaller than its blur disc hardly
        counts.
        """
        rim_error = self._rim_errors(best)
        weight = agreeing / (SHAPE_ERROR**2 + rim_error**2)
        is_film = self.told[1, :, best] > self.told[0, :, best]
        is_film &= rim_error > math.log1p(RIM_OF_SIZE**2) / 2
        return float(weight @ (rim_error * is_film) / weight.sum())

    def _rim_errors(self, best: int) -> NDArray[np.float64]:
        """Return each mark's error at a distance, as what it is there, (n,)."""
        as_grain, as_film = self.told[:, :, best]
        of_grain, of_film = self.rim_error[:, :, best]
        rim_error: NDArray[np.float64] = np.where(as_film > as_grain, of_film, of_grain)
        return rim_error


def _prior(log_tau: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the logarithm of how likely distances are before anything is seen."""
    low, high = (math.log(um) for um in STACK_RANGE_UM)
    beyond = np.maximum(np.maximum(low - log_tau, log_tau - high), 0.0)
    prior: NDArray[np.float64] = -np.square(beyond / BEYOND_ERROR) / 2
    return prior


def _widened(shape: NDArray[np.float64], error: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smear each likelihood by the errors that it has from place to place."""
    ratio = math.log(WIDTHS[1] / WIDTHS[0])
    place = np.clip(np.log(error / WIDTHS[0]) / ratio, 0, len(WIDTHS) - 1)
    told = np.zeros_like(shape)
    for index, kernel in enumerate(_kernels()):
        told += (shape * np.maximum(1 - np.abs(place - index), 0.0)) @ kernel
    return told


@lru_cache(maxsize=1)
def _kernels() -> tuple[NDArray[np.float64], ...]:
    """Return, for each of `WIDTHS`, the matrix that smears a likelihood by it."""
    log_tau = log_taus(FINE)
    away = np.abs(np.arange(log_tau.size)[:, None] - np.arange(log_tau.size))
    kernels = []
    for width in WIDTHS:
        bell = np.exp(-np.square((log_tau - log_tau[0]) / width) / 2)
        kernels.append(bell[away] / (2 * bell.sum() - 1))
    return tuple(kernels)


@lru_cache(maxsize=1)
def _spline_weights() -> NDArray[np.float64]:
    """Return the matrix that carries values of the grid to `FINE` places from each to the next.

    By the cubic spline through all values, mirrored at the outermost ones.

    Returns
    -------
    ((N_TAU - 1) * FINE + 1, N_TAU) float64
    """
    places = np.arange((N_TAU - 1) * FINE + 1) / FINE
    weights = np.zeros((places.size, N_TAU))
    for node in range(-1, N_TAU + 1):
        away = np.abs(places - node)
        near, far = np.maximum(1 - away, 0), np.maximum(2 - away, 0)
        # A mirrored node's own weight goes to the one that it mirrors.
        weights[:, N_TAU - 1 - abs(N_TAU - 1 - abs(node))] += far**3 / 6 - near**3 * (2 / 3)
    return np.asarray(weights @ np.linalg.inv(weights[::FINE]), dtype=np.float64)
