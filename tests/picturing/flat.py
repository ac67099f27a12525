"""The flattened planes behind reports built by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.records import FlatFrame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FrameReport


def flat_for(whole: FrameReport, *, bin_px: int = 3, seed: int = 1) -> FlatFrame:
    """Return a flattened plane in which every spot is a soft dark disc or bar."""
    assert whole.image is not None
    assert whole.sensor is not None
    shape = (whole.image.height_px // bin_px, whole.image.width_px // bin_px)
    contrast = np.random.default_rng(seed).normal(0.0, 0.004, shape).astype(np.float32)
    cell_um = (whole.sensor.pitch_um or 6.0) * bin_px
    for spot in whole.spots:
        half_width = (spot.width_um or 60.0) / cell_um / 2
        half_length = (spot.length_um or 60.0) / cell_um / 2
        row, column = (spot.image_y_px + 0.5) / bin_px - 0.5, (spot.image_x_px + 0.5) / bin_px - 0.5
        rows, columns = (
            _near(row, 2 * half_width, shape[0]),
            _near(column, 2 * half_length, shape[1]),
        )
        inside = ((columns[None, :] - column) / half_length) ** 2 + (
            (rows[:, None] - row) / half_width
        ) ** 2
        shadow = spot.depth_frac * np.exp(-(inside**2))
        contrast[np.ix_(rows, columns)] -= shadow.astype(np.float32)
    return FlatFrame(
        contrast=contrast,
        background=np.ones(shape, np.float32),
        noise_frac=np.full(shape, 0.004, np.float32),
        valid=np.ones(shape, np.bool_),
        bin_px=bin_px,
    )


def _near(place: float, reach: float, n_cells: int) -> NDArray[np.intp]:
    """Return the cells within reach of a place."""
    first, last = max(int(place - reach), 0), min(int(place + reach) + 2, n_cells)
    return np.arange(first, last)
