"""How strongly each place answers to a dip of a given width.

The filter is a Gaussian against a wider one: blind to level and slope, close to the matched
filter of a blurred disc. Its scatter is measured on its own output, box by box, so that
whatever structure a frame has at that width - noise, screen texture, mottling, banding - raises
the bar exactly where it lives: a constant false-alarm rate.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import pool_windows, smooth_wide
from motemap.planes import Steps

if TYPE_CHECKING:
    from numpy.typing import NDArray

SURROUND_SIGMA = 4.5
"""Sigma of the wide Gaussian of one level [cells of that level]."""
GROW_SIGMA = 12.0
"""Sigma of the mean against which a found mark is followed outwards [cells of that level]."""


def surround_of(plane: NDArray[np.float32]) -> Steps:
    """Return the wide Gaussian mean; made on a pooled plane, as it is smooth anyway."""
    wide = smooth_wide(pool_windows(plane, 1), SURROUND_SIGMA / 2)
    return Steps(values=wide, side=2, shape=(plane.shape[0], plane.shape[1]))


def wide_level_of(plane: NDArray[np.float32]) -> Steps:
    """Return the mean that a mark found at this level stands against.

    Wide enough to bridge the mark, narrow enough to follow the soft shadows it may lie in.
    """
    wide = smooth_wide(pool_windows(plane, 2), GROW_SIGMA / 4)
    return Steps(values=wide, side=4, shape=(plane.shape[0], plane.shape[1]))


def border_factors(n_cells: int, sigma_cell: float) -> NDArray[np.float32]:
    """Return how much more a mirrored filter scatters near the ends of an axis than inside.

    A Gaussian of sigma s at distance a from a mirror adds its own mirror image, so that the
    variance grows by 1 + exp(-a^2/s^2) along that axis (derived).

    Returns
    -------
    (n_cells,) float32
        Factors of the standard deviation.
    """
    index = np.arange(n_cells)
    distance = np.minimum(index, index[::-1]) + 0.5
    factors: NDArray[np.float32] = np.sqrt(1 + np.exp(-((distance / sigma_cell) ** 2))).astype(
        np.float32
    )
    return factors
