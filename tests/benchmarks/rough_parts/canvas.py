"""Plain shapes of light and dark on a plane of linear light."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

Light = np.ndarray[tuple[int, int], np.dtype[np.float64]]

LEVEL = 0.55
EDGE_SCALE_PX = 18.0
SRGB_BREAK, SRGB_SLOPE, SRGB_POWER, SRGB_OFFSET = 0.0031308, 12.92, 2.4, 0.055


def vignetted(height_px: int, width_px: int, loss_frac: float) -> Light:
    """Return a field that loses so much light in the corners, growing with the square."""
    rows, cols = np.ogrid[-1.0 : 1.0 : height_px * 1j, -1.0 : 1.0 : width_px * 1j]
    aspect2 = (width_px / height_px) ** 2
    field: Light = LEVEL * (1.0 - loss_frac * (rows**2 + aspect2 * cols**2) / (1.0 + aspect2))
    return field


def halve_edges(light: Light) -> None:
    """Let the light fall to half right at the frame's edges, within some 50 px."""
    for axis, count in enumerate(light.shape):
        from_edge = np.minimum(np.arange(count), np.arange(count)[::-1])
        fall = 1.0 - 0.5 * np.exp(-from_edge / EDGE_SCALE_PX)
        light *= fall[:, None] if axis == 0 else fall[None, :]


def lay_disc(
    light: Light, row_px: float, col_px: float, width_px: float, depth_frac: float, soft_px: float
) -> float:
    """Darken a round spot whose flank is `soft_px` wide; return the light lost [px2]."""
    reach = math.ceil(0.5 * (width_px + soft_px)) + 1
    window, rows, cols = _window(light, row_px, col_px, reach)
    inside_px = 0.5 * width_px - np.hypot(rows[:, None] - row_px, cols[None, :] - col_px)
    loss = depth_frac * _ramp(0.5 + inside_px / soft_px)
    window *= 1.0 - loss
    return float(loss.sum())


def lay_line(
    light: Light, line_px: Sequence[tuple[float, float]], width_px: float, depth_frac: float
) -> None:
    """Darken a thread along a line of (row, column) points; its flanks are half its width."""
    points = np.asarray(line_px)
    low = np.floor(points.min(axis=0) - 2 * width_px).astype(int)
    high = np.ceil(points.max(axis=0) + 2 * width_px).astype(int)
    rows = np.arange(max(low[0], 0), min(high[0], light.shape[0]))
    cols = np.arange(max(low[1], 0), min(high[1], light.shape[1]))
    nearest = np.full((rows.size, cols.size), np.inf)
    for start, end in itertools.pairwise(points):
        np.minimum(nearest, _to_piece(rows, cols, start, end), out=nearest)
    loss = depth_frac * _ramp(0.5 + (0.5 * width_px - nearest) / (0.5 * width_px))
    light[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1] *= 1.0 - loss


def lay_band(light: Light, centre_px: float, width_px: float, loss_frac: float) -> None:
    """Darken a broad soft band across the frame from upper left to lower right."""
    height_px, width = light.shape
    across = (
        np.arange(width)[None, :] - centre_px + 0.6 * np.arange(height_px)[:, None]
    ) / math.hypot(1.0, 0.6)
    light *= 1.0 - loss_frac * np.exp(-0.5 * (across / width_px) ** 2)


def lay_streak(light: Light, col_px: float, rows_px: tuple[float, float], width_px: float) -> None:
    """Darken a faint upright streak by 0.8 %, with soft ends."""
    rows = np.arange(light.shape[0], dtype=np.float64)[:, None]
    cols = np.arange(light.shape[1], dtype=np.float64)[None, :]
    along = _ramp((rows - rows_px[0]) / 60.0) * _ramp((rows_px[1] - rows) / 60.0)
    light *= 1.0 - 0.008 * along * np.exp(-0.5 * ((cols - col_px) / (0.4 * width_px)) ** 2)


def add_noise(light: Light, noise_frac: float, rng: np.random.Generator) -> None:
    """Add noise as a camera's own smoothing leaves it: so strong, and correlated over pixels."""
    grain = ndimage.gaussian_filter(rng.standard_normal(light.shape), 1.1)
    light *= 1.0 + noise_frac * grain / grain.std()


def srgb_codes(light: Light) -> NDArray[np.uint8]:
    """Return 8-bit sRGB codes (IEC 61966-2-1)."""
    level = np.clip(light, 0.0, 1.0)
    curved = (1.0 + SRGB_OFFSET) * level ** (1.0 / SRGB_POWER) - SRGB_OFFSET
    value = np.where(level <= SRGB_BREAK, SRGB_SLOPE * level, curved)
    return np.rint(255.0 * value).astype(np.uint8)


def _ramp(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """0 below 0, 1 above 1, smooth between."""
    held = np.clip(share, 0.0, 1.0)
    soft: NDArray[np.float64] = held * held * (3.0 - 2.0 * held)
    return soft


def _window(
    light: Light, row_px: float, col_px: float, reach: int
) -> tuple[NDArray[np.float64], NDArray[np.int_], NDArray[np.int_]]:
    rows = np.arange(max(round(row_px) - reach, 0), min(round(row_px) + reach + 1, light.shape[0]))
    cols = np.arange(max(round(col_px) - reach, 0), min(round(col_px) + reach + 1, light.shape[1]))
    return light[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1], rows, cols


def _to_piece(
    rows: NDArray[np.int_],
    cols: NDArray[np.int_],
    start: NDArray[np.float64],
    end: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Distance of every pixel to the straight piece from start to end [px]."""
    edge = end - start
    down, right = rows[:, None] - start[0], cols[None, :] - start[1]
    share = np.clip((down * edge[0] + right * edge[1]) / max(float(edge @ edge), 1e-9), 0.0, 1.0)
    distance_px: NDArray[np.float64] = np.hypot(down - share * edge[0], right - share * edge[1])
    return distance_px
