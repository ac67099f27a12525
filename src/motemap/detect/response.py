"""How strongly each place answers to a dip of a given width.

The filter is a Gaussian against a wider one: blind to level and slope, close to the matched
filter of a blurred disc. Its scatter is measured on its own output, box by box, so that
whatever structure a frame has at that width - noise, screen texture, mottling, banding - raises
the bar exactly where it lives: a constant false-alarm rate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import SQUARE, UNIT_REACH, pool, smooth_unit, smooth_wide
from motemap.planes import Steps
from motemap.strips import cell_strips, for_each, rows_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.planes import Window

SURROUND_SIGMA = 4.5
"""Sigma of the wide Gaussian of one level [cells of that level]."""
GROW_SIGMA = 12.0
"""Sigma of the mean against which a found mark is followed outwards [cells of that level]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Response:
    """Wide mean less narrow mean, worked out by windows.

    Parameters
    ----------
    narrow : (H, W) float32
    wide : Steps
    """

    narrow: NDArray[np.float32]
    wide: Steps

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        return self.narrow.shape

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the response in a window."""
        response = self.wide[window]
        response -= self.narrow[window]
        return response


def means_of(plane: NDArray[np.float32]) -> tuple[NDArray[np.float32], Steps, Steps]:
    """Return the means that make up a level's filters.

    Wide ones are made on pooled planes, as they are smooth anyway.

    Parameters
    ----------
    plane : (H, W) float32

    Returns
    -------
    narrow : (H, W) float32
        What stands for a dip of this level.
    surround : Steps
        The wide mean that dips are sought against.
    level : Steps
        The one that marks are followed against: wide enough to bridge a mark of this level,
        narrow enough to follow the soft shadows it may lie in.
    """
    height, width = plane.shape
    narrow = np.empty_like(plane)
    pooled = np.empty((-(-height // SQUARE), -(-width // SQUARE)), np.float32)

    def fill(rows: slice) -> None:
        outer, inner = rows_round(rows, UNIT_REACH, height)
        narrow[rows] = smooth_unit(plane[outer])[inner]
        pooled[rows.start // SQUARE : -(-rows.stop // SQUARE)] = pool(plane[rows])

    for_each(fill, cell_strips(height, width, step=SQUARE))
    surround = smooth_wide(pooled, SURROUND_SIGMA / SQUARE)
    level = smooth_wide(pool(pooled), GROW_SIGMA / SQUARE**2)
    return (
        narrow,
        Steps(values=surround, side=SQUARE, shape=(height, width)),
        Steps(values=level, side=SQUARE**2, shape=(height, width)),
    )


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
