"""Fine periodic structure: the pixels of a screen, beaten against the sensor's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from motemap.filters import highest_nearby, running_mean
from motemap.masks import grown
from motemap.planes import Contrast, to_codes
from motemap.strips import cell_strips, for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows

TILE_CELLS = 256
"""Side of a tile; a choice between telling lines apart and the time it takes."""
TILES_ALONG = 3
"""Tiles along each side of the frame."""
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
RIDGE_FROM, RIDGE_UPTO, RIDGE_STEPS = 0.25, 0.85, 24
"""Between these shares of a line's frequency, at so many places, slower waves that run its way are
looked at."""
RIDGE_QUANTILE, RIDGE_SHARE = 0.5, 0.5
"""A quarter of them has so much of its amplitude at least where it is the slope of a long straight
mark: that of a bar falls with the frequency. Beside a wave of its own they are noise."""
NEAR_SIDE = 9
"""Frequency cells, by side, whose median a tile's line is held against."""
TINY: Final = np.float32(1e-20)
"""Less power than this is none at all."""
SCALING: Final = "ortho"
"""With a factor in both directions numpy transforms single precision as such, four times as fast."""


def remove_periodic(contrast: Contrast, valid: NDArray[np.bool_], noise_frac: Windows) -> Contrast:
    """Take narrow spectral lines out of the contrast; leave it alone when there are none.

    Dust is compact and so has a broad spectrum: a notch a few frequency cells wide takes no
    visible part of it. A long straight mark has a narrow one, a ridge across its direction that
    begins with the slowest waves; of that nothing is taken.

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
    shape = contrast.shape
    calm, codes = np.empty(shape, np.float32), np.empty(shape, np.int16)

    def cut(rows: slice) -> None:
        bound = CALM_SIGMAS * noise_frac[rows, :]
        np.clip(contrast[rows, :], -bound, bound, out=calm[rows])

    for_each(cut, cell_strips(*shape))
    spectrum = np.fft.rfft2(calm, norm=SCALING)
    power = np.abs(spectrum)
    reach = FLOOR_SIDE // 2
    floor = running_mean(_with_surround(power, shape[1], reach), FLOOR_SIDE)
    lines = power > LINE_OVER_FLOOR * floor[reach:-reach, reach:-reach]
    lines[:SMOOTH_CYCLES, :SMOOTH_CYCLES] = False
    lines[-SMOOTH_CYCLES:, :SMOOTH_CYCLES] = False
    lines[lines] = ~_are_on_ridges(power, lines, shape)
    if not lines.any():
        return contrast
    spectrum[~grown(lines, NOTCH_REACH)] = 0
    waves = np.fft.irfft2(spectrum, s=shape, norm=SCALING)

    def take_out(rows: slice) -> None:
        left = contrast[rows, :]
        np.subtract(left, waves[rows], out=left, where=valid[rows])
        codes[rows] = to_codes(left)

    for_each(take_out, cell_strips(*shape))
    return Contrast(codes=codes)


def _are_on_ridges(
    power: NDArray[np.float32], lines: NDArray[np.bool_], shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Tell lines that lie on a ridge of the spectrum, which slower waves of their direction share.

    Parameters
    ----------
    power : (H, W // 2 + 1) float32
        Amplitudes.
    lines : (H, W // 2 + 1) bool
    shape : tuple of int
        Of the plane.

    Returns
    -------
    (n,) bool
        In reading order.
    """
    row, col = np.nonzero(lines)
    cycles = np.where(row > shape[0] // 2, row - shape[0], row)
    shares = np.linspace(RIDGE_FROM, RIDGE_UPTO, RIDGE_STEPS)[:, None]
    down, across = (np.rint(shares * along).astype(np.intp) for along in (cycles, col))
    # Rounding may miss a ridge by one frequency cell.
    slower = np.stack(
        [
            power[(down + aside) % shape[0], np.abs(across + beside)]
            for aside in (-1, 0, 1)
            for beside in (-1, 0, 1)
        ]
    ).max(axis=0)
    ridge = np.quantile(slower, RIDGE_QUANTILE, axis=0)
    return np.asarray(ridge > RIDGE_SHARE * power[row, col], dtype=np.bool_)


def has_lines(contrast: Windows, noise_frac: Windows) -> bool:
    """Look at a few tiles whether their mean spectrum has a narrow line."""
    height, width = contrast.shape
    side = min(TILE_CELLS, height, width)
    rows = np.linspace(0, height - side, TILES_ALONG).round().astype(int)
    cols = np.linspace(0, width - side, TILES_ALONG).round().astype(int)
    window = np.outer(np.hanning(side), np.hanning(side)).astype(np.float32)

    def power_of(corner: tuple[int, int]) -> NDArray[np.float32]:
        box = slice(corner[0], corner[0] + side), slice(corner[1], corner[1] + side)
        tile, bound = contrast[box], CALM_SIGMAS * noise_frac[box]
        spectrum = np.fft.rfft2(np.clip(tile, -bound, bound) * window, norm=SCALING)
        return np.asarray(np.abs(spectrum) ** 2, dtype=np.float32)

    corners = [(int(row), int(col)) for row in rows for col in cols]
    total = np.sum(for_each(power_of, corners), axis=0)
    reach = NEAR_SIDE // 2
    around = _with_surround(total, side, reach)
    # What does not stand out of the lowest nearby cannot stand out of their median.
    lowest = -highest_nearby(-around[None], NEAR_SIDE)[0, reach:-reach, reach:-reach]
    is_seen = total > PEAK_OVER_MEDIAN * np.maximum(lowest, TINY)
    is_seen[:TILE_SMOOTH_CYCLES, :TILE_SMOOTH_CYCLES] = False
    is_seen[-TILE_SMOOTH_CYCLES:, :TILE_SMOOTH_CYCLES] = False
    near = sliding_window_view(around, (NEAR_SIDE, NEAR_SIDE))[is_seen]
    # Along one axis and then the other: as deaf to a line as all at once.
    for _ in range(total.ndim):
        near = np.sort(near, axis=1)[:, reach]
    return bool((total[is_seen] > PEAK_OVER_MEDIAN * np.maximum(near, TINY)).any())


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
    is_turned = cols >= power.shape[1]
    cols[is_turned] = n_cols - cols[is_turned]
    around: NDArray[np.float32] = power[rows].take(cols, axis=1, mode="clip")
    around[:, is_turned] = power[-rows[:, None], cols[is_turned]]
    return around
