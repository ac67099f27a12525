"""Fine periodic structure: the pixels of a screen, beaten against the sensor's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import running_mean
from motemap.masks import grown
from motemap.planes import Contrast
from motemap.strips import for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows

TILE_CELLS = 256
N_TILES = 6
PEAK_OVER_MEDIAN = 40.0
"""Power of a line over its neighbourhood, averaged over the tiles, from which it is one."""
CALM_SIGMAS = 3.0
"""Contrast is cut at so many sigmas first: dust must not fill the spectrum."""
FLOOR_SIDE, LINE_OVER_FLOOR = 31, 6.0
"""A line's amplitude is so many times the mean of the frequency cells round it, by side."""
SMOOTH_CYCLES, TILE_SMOOTH_CYCLES = 24, 6
"""Slower waves, in cycles over the frame or tile, belong to the background and to dust."""
NOTCH_REACH = 2
"""A line leaks into so many frequency cells on each side, as its period fits no whole number."""
NEAR_SIDE = 9
"""Frequency cells, by side, whose median a tile's line is held against."""


def remove_periodic(contrast: Contrast, valid: NDArray[np.bool_], noise_frac: Windows) -> Contrast:
    """Take narrow spectral lines out of the contrast; leave it alone when there are none.

    Dust is compact and so has a broad spectrum: a notch a few frequency cells wide takes no
    visible part of it.

    Parameters
    ----------
    contrast : (H, W) Contrast
    valid : (H, W) bool
    noise_frac : (H, W) float32

    Returns
    -------
    (H, W) Contrast
    """
    if not has_lines(contrast, noise_frac):
        return contrast
    whole = contrast[:, :]
    bound = CALM_SIGMAS * noise_frac[:, :]
    spectrum = np.fft.rfft2(np.clip(whole, -bound, bound))
    power = np.abs(spectrum).astype(np.float32)
    reach = FLOOR_SIDE // 2
    floor = running_mean(_with_surround(power, contrast.shape[1], reach), FLOOR_SIDE)
    floor = floor[reach:-reach, reach:-reach]
    lines = power > LINE_OVER_FLOOR * floor
    lines[:SMOOTH_CYCLES, :SMOOTH_CYCLES] = False
    lines[-SMOOTH_CYCLES:, :SMOOTH_CYCLES] = False
    lines = grown(lines, NOTCH_REACH)
    waves = np.fft.irfft2(np.where(lines, spectrum, 0), s=contrast.shape)
    whole[valid] -= waves[valid].astype(np.float32)
    return Contrast.of(whole)


def has_lines(contrast: Windows, noise_frac: Windows) -> bool:
    """Look at a few tiles whether their mean spectrum has a narrow line."""
    height, width = contrast.shape
    side = min(TILE_CELLS, height, width)
    rows = np.linspace(0, height - side, N_TILES // 2).round().astype(int)
    cols = np.linspace(0, width - side, N_TILES // 2).round().astype(int)
    window = np.outer(np.hanning(side), np.hanning(side)).astype(np.float32)

    def power_of(corner: tuple[int, int]) -> NDArray[np.float32]:
        box = slice(corner[0], corner[0] + side), slice(corner[1], corner[1] + side)
        tile, bound = contrast[box], CALM_SIGMAS * noise_frac[box]
        spectrum = np.fft.rfft2(np.clip(tile, -bound, bound) * window)
        return np.asarray(np.abs(spectrum) ** 2, dtype=np.float32)

    corners = [(int(row), int(col)) for row in rows for col in cols]
    total = np.sum(for_each(power_of, corners), axis=0)
    near = _with_surround(total, side, NEAR_SIDE // 2)
    # Along one axis and then the other: a ninth of the work, and as deaf to a line.
    for axis in range(near.ndim):
        lines = np.lib.stride_tricks.sliding_window_view(near, NEAR_SIDE, axis=axis)
        near = np.sort(lines, axis=-1)[..., NEAR_SIDE // 2]
    ratio = total / np.maximum(near, np.float32(1e-20))
    ratio[:TILE_SMOOTH_CYCLES, :TILE_SMOOTH_CYCLES] = 0
    ratio[-TILE_SMOOTH_CYCLES:, :TILE_SMOOTH_CYCLES] = 0
    return bool(ratio.max() > PEAK_OVER_MEDIAN)


def _with_surround(power: NDArray[np.float32], n_cols: int, reach: int) -> NDArray[np.float32]:
    """Continue half of a spectrum on all sides as the whole one goes on.

    Beside its slowest waves along the rows lie those that run the other way, as slow as they.

    Parameters
    ----------
    power : (h, n_cols // 2 + 1) float32
        That of a real plane with so many columns.
    n_cols : int
    reach : int
        Frequency cells to add on each side.
    """
    rows = np.arange(-reach, power.shape[0] + reach) % power.shape[0]
    cols = np.arange(-reach, power.shape[1] + reach) % n_cols
    is_kept = cols < power.shape[1]
    around = np.empty((rows.size, cols.size), np.float32)
    around[:, is_kept] = power[rows[:, None], cols[is_kept]]
    around[:, ~is_kept] = power[-rows[:, None], n_cols - cols[~is_kept]]
    return around
