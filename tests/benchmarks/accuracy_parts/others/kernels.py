"""The kernel the detectors smooth with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

FWHM_PER_SIGMA = 2.3548
REACH_SIGMAS = 2.5


def bell(fwhm_cells: float) -> NDArray[np.float64]:
    """Return a Gaussian of unit sum on an odd square."""
    sigma = fwhm_cells / FWHM_PER_SIGMA
    reach = max(1, round(REACH_SIGMAS * sigma))
    offsets = np.arange(-reach, reach + 1, dtype=np.float64)
    line = np.exp(-0.5 * (offsets / sigma) ** 2)
    kernel: NDArray[np.float64] = np.outer(line, line) / line.sum() ** 2
    return kernel
