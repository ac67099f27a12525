"""Robust least squares for one scale and a shift, from candidate pairs of marks."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motemap.changes import Registration
from motemap.mesh import SIGMA_PER_MAD

FIRST_GATE_PX = 10.0
"""Reach of a guess read off the vote: half a vote cell each way, and the scale's half step."""

ERROR_FLOOR_PX = 0.3
"""Position error of a mark that no fit may claim to beat: half a binned cell or less."""

PRIOR_SCALE = 0.01
PRIOR_SHIFT_PX = 10.0
"""How far frames are usually off. Decides only where one or two marks leave it open whether
a displacement is a scale or a shift; five marks outweigh it a thousand times."""

TUKEY = 4.685
"""Biweight constant: 95 % efficient for normal errors (Huber & Ronchetti, from memory)."""

N_ROUNDS = 12
"""Rounds of a fit; a choice, made large."""
LEAST_GAIN = 16.0
"""Drop in chi-square, over three unknowns, that it takes to leave "nothing moved": chance
alone exceeds it once in a thousand."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CandidatePairs:
    """Pairs of marks that some allowed transformation would lay over each other.

    Parameters
    ----------
    rows, cols : (M,) int
        Row numbers in the first and the second table.
    from_px, to_px : (M, 2) float64
        Their places, from the middle of their own picture [px].
    radius_px : float
        Half of the picture's diagonal [px].
    """

    rows: NDArray[np.intp]
    cols: NDArray[np.intp]
    from_px: NDArray[np.float64]
    to_px: NDArray[np.float64]
    radius_px: float

    def gaps_px(self, scale: float, shift_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what is left between the marks of each pair, (M, 2) [px]."""
        gaps: NDArray[np.float64] = self.to_px - scale * self.from_px - shift_px
        return gaps


def fit_pairs(found: CandidatePairs, guess: Registration, gate_px: float) -> Registration:
    """Refine a guess until the pairs it rests on no longer change.

    Parameters
    ----------
    found : CandidatePairs
        Right and wrong pairs mixed.
    guess : Registration
        A transformation good to `FIRST_GATE_PX`.
    gate_px : float
        How near the marks of a right pair lie in the end [px].

    Returns
    -------
    Registration
        `IDENTITY`'s scale and shift when they explain the pairs as well; `n_used` 0 when
        nothing lies within the gate.
    """
    scale, shift_px = _start(guess)
    gate = max(FIRST_GATE_PX, gate_px)
    for round_number in range(N_ROUNDS):
        distance_px = np.hypot(*found.gaps_px(scale, shift_px).T)
        used = _one_to_one(found, distance_px, gate)
        if not len(used):
            return Registration(scale=scale, n_used=0)
        scale, shift_px = _solve(found, used, distance_px[used])
        gate = gate_px if round_number > 0 else gate
    fitted = _summary(found, scale, shift_px, gate_px)
    still = _summary(found, 1.0, np.zeros(2), gate_px)
    return still if _is_as_good(found, still, fitted, gate_px) else fitted


def _start(guess: Registration) -> tuple[float, NDArray[np.float64]]:
    scale = 1.0 if guess.scale is None else guess.scale
    return scale, np.array([guess.shift_x_px or 0.0, guess.shift_y_px or 0.0])


def _one_to_one(
    found: CandidatePairs, distance_px: NDArray[np.float64], gate_px: float
) -> NDArray[np.intp]:
    """Pairs within the gate in which each mark is the other's nearest."""
    near = np.flatnonzero(distance_px <= gate_px)
    near = near[np.argsort(distance_px[near], kind="stable")]
    _, by_row = np.unique(found.rows[near], return_index=True)
    _, by_col = np.unique(found.cols[near], return_index=True)
    return np.sort(near[np.intersect1d(by_row, by_col)])


def _solve(
    found: CandidatePairs, used: NDArray[np.intp], distance_px: NDArray[np.float64]
) -> tuple[float, NDArray[np.float64]]:
    """One weighted least squares step; the unknowns are in pixels at the picture's corner."""
    error_px = max(ERROR_FLOOR_PX, SIGMA_PER_MAD * float(np.median(distance_px)))
    weight = np.clip(1.0 - (distance_px / (TUKEY * error_px)) ** 2, 0.0, None) ** 2
    weight = np.maximum(weight, np.finfo(np.float64).tiny) / error_px**2
    lever = found.from_px[used] / found.radius_px
    moved = found.to_px[used] - found.from_px[used]
    normal = np.zeros((3, 3))
    normal[0, 0] = np.sum(weight[:, None] * lever**2)
    normal[0, 1:] = normal[1:, 0] = weight @ lever
    normal[1, 1] = normal[2, 2] = np.sum(weight)
    prior = np.array([PRIOR_SCALE * found.radius_px, PRIOR_SHIFT_PX, PRIOR_SHIFT_PX])
    wanted = np.array([np.sum(weight[:, None] * lever * moved), *(weight @ moved)])
    answer = np.linalg.solve(normal + np.diag(prior**-2.0), wanted)
    return 1.0 + float(answer[0]) / found.radius_px, answer[1:]


def _summary(
    found: CandidatePairs, scale: float, shift_px: NDArray[np.float64], gate_px: float
) -> Registration:
    """Return a transformation with how many pairs it brings together, and how nearly."""
    distance_px = np.hypot(*found.gaps_px(scale, shift_px).T)
    used = _one_to_one(found, distance_px, gate_px)
    spread_px = math.sqrt(float(np.mean(distance_px[used] ** 2))) if len(used) else None
    return Registration(
        scale=scale,
        shift_x_px=float(shift_px[0]),
        shift_y_px=float(shift_px[1]),
        residual_px=spread_px,
        n_used=len(used),
    )


def _is_as_good(
    found: CandidatePairs, still: Registration, fitted: Registration, gate_px: float
) -> bool:
    """Whether "nothing moved" explains the pairs as well as the fit does."""
    if still.n_used < fitted.n_used or fitted.residual_px is None:
        return False
    scale, shift_px = _start(fitted)
    fit_px = np.hypot(*found.gaps_px(scale, shift_px).T)
    used = _one_to_one(found, fit_px, gate_px)
    still_px = np.hypot(*found.gaps_px(1.0, np.zeros(2))[used].T)
    error_px = max(ERROR_FLOOR_PX, SIGMA_PER_MAD * float(np.median(fit_px[used])))
    gain = np.sum(np.minimum(still_px, gate_px) ** 2 - np.minimum(fit_px[used], gate_px) ** 2)
    return bool(gain / error_px**2 < LEAST_GAIN)
