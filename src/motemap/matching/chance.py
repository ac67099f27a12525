"""How likely marks lie over one another by chance alone."""

import math

import numpy as np
from numpy.typing import NDArray

from motemap.matching.mark_table import MarkTable

SIZE_SPREAD = 0.35
"""Systematic size ratio allowed between two frames (natural logarithm): diffraction at
another aperture and a camera's tone curve each shift all sizes by tens of per cent."""

SIZE_SIGMAS = 3.0
"""And so many standard deviations of measuring: of one mark in two frames, one in 400 is lost."""


def agrees_in_size(
    before: MarkTable, after: MarkTable, rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Tell which pairs of marks could be one by their size; an unknown size fits all.

    Parameters
    ----------
    rows, cols : (M,) int
        Row numbers in `before` and in `after`.

    Returns
    -------
    (M,) bool
    """
    gap = np.abs(after.log_size[cols] - before.log_size[rows])
    error = np.hypot(before.log_size_error[rows], after.log_size_error[cols])
    return np.isnan(gap) | (gap <= SIZE_SPREAD + SIZE_SIGMAS * error)


def chance_pairs(before: MarkTable, after: MarkTable, gate_px: float) -> float:
    """Reckon how many pairs chance brings within a gate when the two sets are unrelated.

    Parameters
    ----------
    gate_px : float
        Radius within which two marks count as a pair [px].

    Returns
    -------
    float
        Marks of both frames taken as spread evenly over the picture.
    """
    rows, cols = np.indices((len(before), len(after))).reshape(2, -1)
    n_alike = int(np.count_nonzero(agrees_in_size(before, after, rows, cols)))
    area_px2 = max(after.area_px2, 1.0)
    return n_alike * min(1.0, math.pi * gate_px**2 / area_px2)


def log_tail(n_pairs: int, expected: float) -> float:
    """Logarithm of the chance of `n_pairs` or more when `expected` are due (Poisson).

    Examples
    --------
    >>> round(math.exp(log_tail(1, 1e-3)), 6)
    0.001
    >>> log_tail(0, 1e-3)
    0.0
    """
    if n_pairs <= expected or n_pairs == 0:
        return 0.0
    if expected <= 0:
        return -math.inf
    first = n_pairs * math.log(expected) - expected - math.lgamma(n_pairs + 1)
    rest = -math.log1p(-expected / (n_pairs + 1))
    return min(0.0, first + rest)
