"""Fine periodic structure: the pixels of a screen, beaten against the sensor's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import fft, ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

TILE_CELLS = 256
N_TILES = 6
PEAK_OVER_MEDIAN = 40.0
"""Power of a line over its neighbourhood, averaged over the tiles, from which it is one."""


def remove_periodic(
    contrast: NDArray[np.float32], valid: NDArray[np.bool_], noise_frac: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Take narrow spectral lines out of the contrast; leave it alone when there are none.

    Dust is compact and so has a broad spectrum: a notch a few frequency cells wide takes no
    visible part of it.

    Parameters
    ----------
    contrast : (H, W) float32
    valid : (H, W) bool
    noise_frac : (H, W) float32

    Returns
    -------
    (H, W) float32
    """
    if not has_lines(contrast, noise_frac):
        return contrast
    bound = 3 * noise_frac
    calm = np.clip(contrast, -bound, bound)
    spectrum = fft.rfft2(calm)
    power = np.abs(spectrum).astype(np.float32)
    floor = ndimage.uniform_filter(power, (31, 31), mode="wrap")
    lines = power > 6.0 * floor
    lines[:24, :24] = False
    lines[-24:, :24] = False
    lines = ndimage.binary_dilation(lines, iterations=2)
    waves = fft.irfft2(np.where(lines, spectrum, 0), s=contrast.shape)
    cleaned = contrast - waves.astype(np.float32)
    return np.where(valid, cleaned, contrast).astype(np.float32)


def has_lines(contrast: NDArray[np.float32], noise_frac: NDArray[np.float32]) -> bool:
    """Look at a few tiles whether their mean spectrum has a narrow line."""
    height, width = contrast.shape
    side = min(TILE_CELLS, height, width)
    rows = np.linspace(0, height - side, N_TILES // 2).round().astype(int)
    cols = np.linspace(0, width - side, N_TILES // 2).round().astype(int)
    window = np.outer(np.hanning(side), np.hanning(side)).astype(np.float32)
    total = np.zeros((side, side // 2 + 1), np.float32)
    for row in rows:
        for col in cols:
            box = np.s_[row : row + side, col : col + side]
            bound = 3 * noise_frac[box]
            total += np.abs(fft.rfft2(np.clip(contrast[box], -bound, bound) * window)) ** 2
    near = ndimage.median_filter(total, (9, 9), mode="wrap")
    ratio = total / np.maximum(near, np.float32(1e-20))
    ratio[:6, :6] = 0
    ratio[-6:, :6] = 0
    return bool(ratio.max() > PEAK_OVER_MEDIAN)
