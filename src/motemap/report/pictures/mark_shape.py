"""The shape of a long mark, read off the flattened frame."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from motemap.coords import px_to_cell

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Spot

DEPTH_SHARE: Final = 0.25
"""Share of a mark's depth at which its outline is drawn; below, noise joins in."""

NOISE_SIGMAS: Final = 2.5
"""Least depth of the outline, in standard deviations of a smoothed cell."""

SMOOTH_CELLS: Final = 1.0
SMOOTH_GAIN: Final = 0.28
"""Noise left after that smoothing: 1 / (2 sqrt(pi) sigma) for white noise."""

NOISE_STEP: Final = 16
"""Noise changes over a hundred cells and more."""

REACH_CELLS: Final = 200
"""Farthest from a mark's middle that it is followed [cells]."""


def mark_shape(flat: FlatFrame, spot: Spot) -> NDArray[np.intp] | None:
    """Return row and column of every cell of a mark, (n, 2); None where it cannot be told.

    Parameters
    ----------
    flat : FlatFrame
        The frame that `spot` was found in.
    """
    row = px_to_cell(spot.image_y_px, flat.bin_px)
    column = px_to_cell(spot.image_x_px, flat.bin_px)
    window, top, left = _window(flat, row, column)
    smooth = ndimage.gaussian_filter(window, SMOOTH_CELLS)
    noise = float(np.median(flat.noise_frac[::NOISE_STEP, ::NOISE_STEP])) * SMOOTH_GAIN
    level = max(DEPTH_SHARE * spot.depth_frac, NOISE_SIGMAS * noise)
    labels, n_labels = ndimage.label(smooth <= -level, structure=np.ones((3, 3)))
    if n_labels == 0:
        return None
    nearest = _nearest_label(labels, row - top, column - left)
    shape: NDArray[np.intp] = np.argwhere(labels == nearest)
    shape += np.array((top, left), dtype=np.intp)
    return shape


def _window(flat: FlatFrame, row: float, column: float) -> tuple[NDArray[np.float32], int, int]:
    n_rows, n_columns = flat.contrast.shape
    top, left = max(math.floor(row) - REACH_CELLS, 0), max(math.floor(column) - REACH_CELLS, 0)
    bottom = min(math.ceil(row) + REACH_CELLS, n_rows)
    right = min(math.ceil(column) + REACH_CELLS, n_columns)
    return flat.contrast[top:bottom, left:right], top, left


def _nearest_label(labels: NDArray[np.integer], row: float, column: float) -> int:
    """Return the label nearest to a place: a curved fibre's middle may lie beside it."""
    places = np.argwhere(labels > 0)
    distances = np.hypot(places[:, 0] - row, places[:, 1] - column)
    nearest_row, nearest_column = places[int(np.argmin(distances))]
    return int(labels[nearest_row, nearest_column])
