"""Which marks left one place and turned up at another.

A mark that came may be one of those that went, or dust from elsewhere. Each account gets
its likelihood: how well the sizes (and lengths) agree, against how common such a size is.
The share of movers is fitted to the marks themselves, so that ten newcomers of which one
happens to match raise no mover. A mover is named only when it is right in nine of ten; one that
is likelier than not is only remarked upon.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motemap.records import Spot

SAME_SIZE_FRAC = 0.18
"""Largest size difference of one particle in two frames (an informed guess)."""

SURE_ENOUGH = 0.93
"""Posterior from which a mover is named; a little above the nine in ten promised."""

LIKELY = 0.5
"""Posterior from which a mark that came is said to be perhaps one that went."""

PRIOR_MOVED = 1.0
PRIOR_CAME = 1.5
"""Pseudo-counts: before looking, two in five marks that turn up are taken to have moved."""

KERNEL = 0.35
"""Width of the kernel that smooths the sizes seen (natural logarithm)."""

BROAD_SIZES = (math.log(20.0), 0.7)
"""Middle and spread of dust sizes before any is seen [log um]; an informed guess."""

BROAD_WEIGHT = 5.0
"""Marks that this guess counts for; a choice."""
LENGTH_ERROR = 0.15
LENGTH_SPREAD = 0.7
"""How well a fibre's length is known, and how much lengths differ (natural logarithm); informed
guesses."""
N_ROUNDS = 50
"""Rounds in which the share of movers is fitted; a choice, made large."""

MOST_PAIRS = 250_000
"""Among more pairs than this no size is rare enough to know a mark by it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mover:
    """A mark that moved: row numbers among what went and what came, and the odds."""

    went: int
    came: int
    posterior: float

    @property
    def is_sure(self) -> bool:
        """Whether it is to be named, being right in at least nine of ten."""
        return self.posterior >= SURE_ENOUGH


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SizeGaps:
    """How the size of each mark that came differs from each that went.

    Parameters
    ----------
    log_ratio, error : (went, came) float64
        Natural logarithm of the size ratio and its standard deviation; NaN where unknown.
    """

    log_ratio: NDArray[np.float64]
    error: NDArray[np.float64]


def find_movers(
    went: tuple[Spot, ...], came: tuple[Spot, ...], all_spots: tuple[Spot, ...], gaps: SizeGaps
) -> tuple[Mover, ...]:
    """Find the marks that moved, or likelier did than not, one to one.

    Parameters
    ----------
    went, came : tuple of Spot
        Marks seen only before and only after.
    all_spots : tuple of Spot
        All marks of both frames: how common each size is.
    gaps : SizeGaps
        How the sizes agree.

    Returns
    -------
    tuple of Mover
        Only those that are `Mover.is_sure` are to be named.
    """
    if not went or not came:
        return ()
    moved = _moved_density(went, came, gaps)
    posterior = _posterior(moved, _fresh_density(came, all_spots))
    best_came = posterior.argmax(axis=0)
    found = []
    for row in range(len(went)):
        col = int(posterior[row].argmax())
        odds = float(posterior[row, col])
        if odds >= LIKELY and best_came[col] == row:
            found.append(Mover(went=row, came=col, posterior=odds))
    return tuple(found)


def _log_sizes(spots: tuple[Spot, ...]) -> NDArray[np.float64]:
    return np.array([math.log(spot.particle_um) if spot.particle_um else np.nan for spot in spots])


def _normal(gap: NDArray[np.float64], error: float | NDArray[np.float64]) -> NDArray[np.float64]:
    density: NDArray[np.float64] = np.exp(-0.5 * (gap / error) ** 2) / (
        error * math.sqrt(2.0 * math.pi)
    )
    return density


def _moved_density(
    went: tuple[Spot, ...], came: tuple[Spot, ...], gaps: SizeGaps
) -> NDArray[np.float64]:
    """Density of seeing each arrival if it were each of those that went, (went, came)."""
    is_near = np.abs(np.nan_to_num(gaps.log_ratio, nan=np.inf)) <= SAME_SIZE_FRAC
    density = np.where(is_near, _normal(np.where(is_near, gaps.log_ratio, 0.0), gaps.error), 0.0)
    one = np.array([spot.kind == "fibre" for spot in went])
    two = np.array([spot.kind == "fibre" for spot in came])
    same_kind = (one[:, None] == two[None, :]).astype(np.float64)
    chance: NDArray[np.float64] = density * same_kind * _length_factor(went, came)
    return chance


def _length_factor(went: tuple[Spot, ...], came: tuple[Spot, ...]) -> NDArray[np.float64]:
    """How much likelier two fibres' lengths are as one fibre's than as two fibres'."""
    gap = _log_lengths(came)[None, :] - _log_lengths(went)[:, None]
    ratio = LENGTH_SPREAD / LENGTH_ERROR
    factor: NDArray[np.float64] = ratio * np.exp(-0.5 * (gap / LENGTH_ERROR) ** 2)
    return np.nan_to_num(factor, nan=1.0)


def _log_lengths(spots: tuple[Spot, ...]) -> NDArray[np.float64]:
    lengths = [
        spot.length_um if spot.kind == "fibre" and spot.length_um else None for spot in spots
    ]
    return np.array([math.log(length) if length else np.nan for length in lengths])


def _fresh_density(came: tuple[Spot, ...], all_spots: tuple[Spot, ...]) -> NDArray[np.float64]:
    """Density of each arrival's size among all dust seen, smoothed towards a broad guess."""
    sizes = _log_sizes(all_spots)
    sizes = sizes[~np.isnan(sizes)]
    own = _log_sizes(came)
    middle, spread = BROAD_SIZES
    itself = float(_normal(np.zeros(1), KERNEL)[0])
    kernels = _normal(own[:, None] - sizes[None, :], KERNEL).sum(axis=1) - itself
    broad = BROAD_WEIGHT * _normal(own - middle, spread)
    density: NDArray[np.float64] = (kernels + broad) / (len(sizes) - 1 + BROAD_WEIGHT)
    return np.nan_to_num(density, nan=1.0)


def _posterior(moved: NDArray[np.float64], fresh: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chance that each arrival is each of those that went; the share of movers is fitted."""
    n_went, n_came = moved.shape
    share = PRIOR_MOVED / (PRIOR_MOVED + PRIOR_CAME)
    chance = np.zeros_like(moved)
    for _ in range(N_ROUNDS):
        weight = share / n_went * moved
        chance = weight / (weight.sum(axis=0) + (1.0 - share) * fresh)
        share = (PRIOR_MOVED + float(chance.sum())) / (PRIOR_MOVED + PRIOR_CAME + n_came)
    return chance
