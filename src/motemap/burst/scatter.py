"""By how much the frames of a burst depart from each other."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.mesh import scatter_of_rows

if TYPE_CHECKING:
    from numpy.typing import NDArray


def scatter_about_others(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the scatter of each of N frames about the mean of the others, (N,).

    What all frames show is no part of it.

    Parameters
    ----------
    values : (N, m) float32
        What N frames, two or more, show at m places.
    """
    # The gap to the mean of all is what the gap to the mean of the others is, times (N - 1) / N.
    factor = math.sqrt(1.0 - 1.0 / len(values))
    return scatter_of_rows(values - values.mean(axis=0)) / np.float32(factor)
