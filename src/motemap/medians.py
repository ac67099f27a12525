"""Medians: of a plane by a sample of its cells, and of many short runs of values at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows

LOOK_EVERY: Final = 8
"""What changes slowly across a frame is told by one cell of so many along each side."""


def sampled(plane: Windows | NDArray[np.bool_]) -> NDArray[Any]:
    """Return every eighth cell of a plane along both sides."""
    return plane[::LOOK_EVERY, ::LOOK_EVERY]


def typical(plane: Windows) -> float:
    """Return the median of a plane, of a sample of its cells."""
    return float(np.median(sampled(plane)))


def medians_of_runs(values: NDArray[np.float32], n_values: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return the median of each run of values, 0 of an empty one.

    Parameters
    ----------
    values : (m,) float32
        Those of the first run, then those of the second and so on.
    n_values : (n,) int
        How many each run has; `m` together.

    Returns
    -------
    (n,) float64
    """
    rising = np.full((len(n_values), int(n_values.max(initial=0)) + 1), np.inf, np.float32)
    rising[np.arange(rising.shape[1]) < n_values[:, None]] = values
    rising.sort(axis=1)
    every = np.arange(len(n_values))
    upper = rising[every, n_values // 2]
    lower = rising[every, np.maximum(n_values - 1, 0) // 2]
    return np.where(n_values > 0, (lower.astype(np.float64) + upper) / 2, 0.0)
