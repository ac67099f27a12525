"""How much of a mark is left at one place."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motemap.compare.aperture import SATURATED_FRAC
from motemap.compare.moved import LENGTH_ERROR
from motemap.compare.two import TwoStates
from motemap.compare.visible import DEPTH_ERROR_FRAC
from motemap.matching import SIZE_ERROR_FRAC, Pairing
from motemap.mesh import SIGMA_PER_MAD
from motemap.records import Spot

WEAKER_RATIO = math.sqrt(0.5)
"""A mark counts as weaker when its equivalent diameter fell below this share, so that at
least half of the light it took is back ..."""

WEAKER_SIGMAS = 3.0
"""... and the fall is this many standard deviations: about one wrong in a thousand."""

DROP_ERROR = 0.25
"""Relative error of a drop's size against that at another aperture or in another kind of file: it
bends light more than it takes it, and the aperture decides how much of that is missed. Drawn clear
drops read 0.73 to 1.40 times as large at f/22 as at f/16, films and specks within 0.1. Marks
without a size, clear drops mostly, are compared by the light that they seem to take: it is held to
be as unsure at one aperture, too (a choice, not measured)."""

SIZE_SHARE = 0.5
"""Power of the light lost with which the equivalent diameter goes."""

LEAST_PAIRS_FOR_BIAS = 5
"""Fewer pairs may share a ratio by chance, or because all of them were cleaned."""
MOST_BIAS = 0.35
"""Largest common ratio of sizes laid to aperture and tone curve (natural logarithm)."""

LEAST_PAIRS_FOR_ERROR = 8
"""Fewer pairs do not tell their own scatter."""
ERROR_FACTORS = np.geomspace(0.1, 1.5, 12)
"""How far two frames' own repeatability may depart from the promised accuracy: the same
particle measured twice alike errs alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Yardstick:
    """How sizes compare between two frames.

    Parameters
    ----------
    bias : float
        Ratio of sizes that most pairs share (natural logarithm): the frames' doing, not the
        cleaning's.
    error_factor : float
        Repeatability of these two frames over the accuracy promised for one, noise apart.
    """

    bias: float = 0.0
    error_factor: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strength:
    """How the paired marks' sizes changed.

    Parameters
    ----------
    log_ratio : (P,) float64
        Natural logarithm of size after over size before; NaN where unknown.
    error : (P,) float64
        Its standard deviation.
    """

    log_ratio: NDArray[np.float64]
    error: NDArray[np.float64]

    @property
    def is_weaker(self) -> NDArray[np.bool_]:
        """Whether each pair lost a good part of its size, and surely so."""
        limit = np.minimum(math.log(WEAKER_RATIO), -WEAKER_SIGMAS * self.error)
        return np.nan_to_num(self.log_ratio, nan=0.0) < limit


def yardstick(states: TwoStates, pairs: Pairing) -> Yardstick:
    """Learn from the marks that stayed how sizes compare between these two frames.

    Parameters
    ----------
    states : TwoStates
        First and second state.
    pairs : Pairing
        Marks that lie over each other.

    Returns
    -------
    Yardstick
        No bias for frames of one aperture and kind, nor where the marks told how the apertures
        compare; the promised error where pairs are few.
    """
    ratios = _ratios(states, pairs)
    plain = ratios.by(Yardstick())
    is_known = np.isfinite(plain.log_ratio)
    known = plain.log_ratio[is_known]
    bias = 0.0
    is_other = states.apertures.is_read and not states.is_alike
    if is_other and len(known) >= LEAST_PAIRS_FOR_BIAS:
        bias = float(np.clip(np.median(known), -MOST_BIAS, MOST_BIAS))
    # No factor scales the error of drops: their scatter tells nothing of it.
    is_telling = is_known & (ratios.drop_error == 0)
    if np.count_nonzero(is_telling) < LEAST_PAIRS_FOR_ERROR:
        return Yardstick(bias=bias)
    choices = [Yardstick(bias=bias, error_factor=float(factor)) for factor in ERROR_FACTORS]
    return min(choices, key=lambda choice: _misfit(ratios.by(choice), is_telling))


def _misfit(change: Strength, is_telling: NDArray[np.bool_]) -> float:
    """How far the scatter of those pairs that tell it is from what their errors say."""
    scaled = (change.log_ratio / change.error)[is_telling]
    return abs(math.log(max(SIGMA_PER_MAD * float(np.median(np.abs(scaled))), 1e-6)))


def strength(states: TwoStates, pairs: Pairing, measure: Yardstick) -> Strength:
    """Compare the sizes of paired marks.

    Parameters
    ----------
    states : TwoStates
        First and second state.
    pairs : Pairing
        Which rows belong together.
    measure : Yardstick
        What `yardstick` gave for the pairs that lie over each other.

    Returns
    -------
    Strength
        At one aperture the depths take part too, being more precise than sizes. Where an
        aperture is unknown sizes are unsure: depths alone, less what all marks share, count.
    """
    return _ratios(states, pairs).by(measure)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ratios:
    """What was measured of pairs, before anything is made of it.

    Parameters
    ----------
    log_size : (P,) float64
        Natural logarithm of size after over size before.
    log_depth : (P,) float64
        The change of size that the depths tell; NaN where depths cannot be compared.
    length_error : (P,) float64
        Relative error of a length that it rests on besides.
    noise : (P,) float64
        Relative error from the frames' noise alone.
    drop_error : (P,) float64
        Relative error of sizes where light is bent rather than taken, 0 elsewhere.
    """

    log_size: NDArray[np.float64]
    log_depth: NDArray[np.float64]
    length_error: NDArray[np.float64]
    noise: NDArray[np.float64]
    drop_error: NDArray[np.float64]

    def by(self, measure: Yardstick) -> Strength:
        """Return the change of size by some yardstick."""
        accuracy = math.sqrt(2.0) * SIZE_ERROR_FRAC * measure.error_factor
        size_error = np.hypot(np.hypot(accuracy, self.noise), self.drop_error)
        by_size = (self.log_size - measure.bias, size_error)
        accuracy = math.sqrt(2.0) * DEPTH_ERROR_FRAC * measure.error_factor
        light_error = np.hypot(np.hypot(accuracy, self.noise), self.length_error)
        value, error = _combine(by_size, (self.log_depth, SIZE_SHARE * light_error))
        return Strength(log_ratio=value, error=error)


def _ratios(states: TwoStates, pairs: Pairing) -> _Ratios:
    """Measure how much of each pair is left by size, by depth, or by both."""
    log_size = states.after_table.log_size[pairs.cols] - states.before_table.log_size[pairs.rows]
    log_depth, length_error = _depth_ratio(states, pairs)
    if not states.apertures.is_read:
        is_told = states.apertures.ratio is not None
        log_size = np.where(np.isnan(log_depth) & is_told, log_size, np.nan)
    return _Ratios(
        log_size=log_size,
        log_depth=log_depth,
        length_error=length_error,
        noise=_noise(states, pairs),
        drop_error=_drop_error(states, pairs),
    )


def _both(states: TwoStates, pairs: Pairing) -> list[tuple[Spot, Spot]]:
    rows, cols = pairs.rows.tolist(), pairs.cols.tolist()
    before, after = states.before.spots, states.after.spots
    return [(before[row], after[col]) for row, col in zip(rows, cols, strict=True)]


def _noise(states: TwoStates, pairs: Pairing) -> NDArray[np.float64]:
    """Relative error of a ratio from the frames' noise alone."""
    snr = [(max(one.snr, 1.0), max(two.snr, 1.0)) for one, two in _both(states, pairs)]
    inverse = 1.0 / np.array(snr, dtype=np.float64).reshape(-1, 2)
    noise: NDArray[np.float64] = np.hypot(inverse[:, 0], inverse[:, 1])
    return noise


def _drop_error(states: TwoStates, pairs: Pairing) -> NDArray[np.float64]:
    """Relative error of drops' sizes in frames that are not alike; of unsized marks' light in any."""
    is_bending = [
        one.particle_um is None
        or two.particle_um is None
        or (not states.is_alike and "droplet" in (one.kind, two.kind))
        for one, two in _both(states, pairs)
    ]
    error: NDArray[np.float64] = DROP_ERROR * np.array(is_bending, np.float64)
    return error


def _depth_ratio(
    states: TwoStates, pairs: Pairing
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Logarithm of the size ratio by depth, NaN where that says nothing, and the lengths' error.

    A speck's depth goes with its diameter squared, which is the light it takes; a fibre's with
    its width, so that its light goes with depth times length (see the page on shadows).
    """
    both = _both(states, pairs)
    depth = np.array([(one.depth_frac, two.depth_frac) for one, two in both]).reshape(-1, 2)
    is_fibre = np.array([(one.kind == "fibre", two.kind == "fibre") for one, two in both])
    is_fibre = is_fibre.reshape(-1, 2)
    length = np.array([(one.length_um or np.nan, two.length_um or np.nan) for one, two in both])
    length = np.where(is_fibre, length.reshape(-1, 2), 1.0)
    is_useful = np.all((depth > 0) & (depth < SATURATED_FRAC), axis=1)
    is_useful &= (is_fibre[:, 0] == is_fibre[:, 1]) & states.has_like_depths
    light = np.where(is_useful[:, None], depth * length, 1.0)
    change = np.log(light[:, 1] / light[:, 0])
    if not states.apertures.is_read:
        change -= np.log([states.apertures.depth_factor(one) for one, _ in both])
    log_ratio = np.where(is_useful, SIZE_SHARE * change, np.nan)
    return log_ratio, np.where(is_fibre[:, 0], LENGTH_ERROR, 0.0)


def _combine(
    by_size: tuple[NDArray[np.float64], NDArray[np.float64]],
    by_depth: tuple[NDArray[np.float64], NDArray[np.float64]],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Weighted mean of two estimates, either of which may be unknown."""
    value = np.stack([by_size[0], by_depth[0]])
    weight = np.where(np.isnan(value), 0.0, np.stack([by_size[1], by_depth[1]]) ** -2.0)
    total = weight.sum(axis=0)
    is_known = total > 0
    total = np.where(is_known, total, 1.0)
    mean = np.nansum(np.nan_to_num(value) * weight, axis=0) / total
    return np.where(is_known, mean, np.nan), np.where(is_known, total**-0.5, np.inf)
