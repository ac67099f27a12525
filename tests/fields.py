"""Blank fields and dips whose every value is known, for the tests of single stages.

Shapes are averaged over each cell, never sampled at its centre, and no field is square.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from motemap.records import FlatFrame, Plane
from motemap.shot import FaintShadow

FIELD = (180, 260)
"""Rows and columns of a field when nothing else is asked for."""
STEPS = 16
"""Steps a side over which a cell of a disc is averaged: its area is then good to 0.02 %."""

Array = NDArray[np.float32]


def bell(shape: tuple[int, int], row: float, col: float, sigma: float, depth: float) -> Array:
    """Return the contrast of a Gaussian dip, averaged over each cell (exact, by erf)."""

    def along(n_cells: int, middle: float) -> NDArray[np.float64]:
        edges = (np.arange(n_cells + 1) - 0.5 - middle) / (sigma * np.sqrt(2))
        return np.asarray(np.diff(special.erf(edges)) * sigma * np.sqrt(np.pi / 2))

    return np.asarray(-depth * np.outer(along(shape[0], row), along(shape[1], col)), np.float32)


def bell_shadow(sigma_px: float) -> FaintShadow:
    """Return a Gaussian shadow as the promise of sensitivity takes it, averaged over pixels."""
    radius_px = (np.arange(1000, dtype=np.float64) + 0.5) * 0.01 * sigma_px
    variance_px2 = sigma_px**2 + 1 / 12
    return FaintShadow(radius_px=radius_px, loss_frac=np.exp(-(radius_px**2) / (2 * variance_px2)))


def disc(shape: tuple[int, int], row: float, col: float, radius: float, depth: float) -> Array:
    """Return the contrast of a hard-edged disc, averaged over 16 x 16 points a cell."""
    steps = (np.arange(STEPS) + 0.5) / STEPS - 0.5
    # Only near the disc: over a whole field so many points take seconds.
    near = tuple(
        slice(min(max(int(middle - radius) - 1, 0), n_cells), max(int(middle + radius) + 3, 0))
        for n_cells, middle in zip(shape, (row, col), strict=True)
    )
    down, right = (
        (np.arange(n_cells)[part, None] + steps).ravel()
        for n_cells, part in zip(shape, near, strict=True)
    )
    inside = (down[:, None] - row) ** 2 + (right[None, :] - col) ** 2 <= radius**2
    field = np.zeros(shape, np.float32)
    n_rows, n_cols = down.size // STEPS, right.size // STEPS
    points = inside.astype(np.float32).reshape(n_rows, STEPS, n_cols, STEPS)
    field[near] = -depth * points.mean(axis=(1, 3))
    return field


def noisy(shape: tuple[int, int], noise_frac: float, seed: int) -> Array:
    """Return white noise."""
    return np.random.default_rng(seed).normal(0, noise_frac, shape).astype(np.float32)


def flat_frame(
    contrast: Array,
    noise_frac: float,
    *,
    bin_px: int = 1,
    valid: NDArray[np.bool_] | None = None,
    floor_frac: Array | None = None,
) -> FlatFrame:
    """Return a flattened frame of even brightness with this contrast and noise."""
    return FlatFrame(
        contrast=contrast,
        background=np.full(contrast.shape, 0.6, np.float32),
        noise_frac=np.full(contrast.shape, noise_frac, np.float32),
        valid=np.ones(contrast.shape, bool) if valid is None else valid,
        bin_px=bin_px,
        floor_frac=floor_frac,
    )


def plane_of(
    light: Array,
    *,
    bin_px: int = 1,
    valid: NDArray[np.bool_] | None = None,
    code_step: Array | None = None,
    clipped_frac: float = 0.0,
    black_frac: float = 0.0,
) -> Plane:
    """Return a loaded picture with this light."""
    return Plane(
        light=light,
        valid=np.ones(light.shape, bool) if valid is None else valid,
        bin_px=bin_px,
        clipped_frac=clipped_frac,
        black_frac=black_frac,
        code_step=code_step,
    )


def unit_axes(shape: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return row and column positions of all cells from -1 to 1, edge to edge."""
    rows, cols = (np.linspace(-1 + 1 / n, 1 - 1 / n, n, dtype=np.float64) for n in shape)
    return rows[:, None], cols[None, :]


def uneven_light(shape: tuple[int, int], vignetting: float = 0.5, tilt: float = 0.2) -> Array:
    """Return light that falls to 1 - `vignetting` in the corners and is tilted across."""
    down, across = unit_axes(shape)
    radius2 = (down**2 + across**2) / 2
    falling = 1 - vignetting * (0.7 * radius2 + 0.3 * radius2**2)
    return np.asarray(0.6 * falling * (1 + tilt / 2 * across), np.float32)
