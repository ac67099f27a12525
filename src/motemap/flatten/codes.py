"""What coarse codes do to a flat field: contour rings that look like edges.

Where the noise is well below one code, the mean over many pixels no longer follows the light
but sticks to whole codes. How much it sticks is read off the picture itself: with enough noise
the mean codes of small squares fall anywhere between two codes, without they crowd at whole
ones. The measure is the first harmonic of that distribution (the characteristic function of
B. Widrow and I. Kollar, "Quantization Noise", 2008, from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import pool
from motemap.mesh import box_statistic, spread_mesh

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Plane

STICKING_STEPS = 1.0
"""Largest false depth where the light sticks to codes, in code steps: half a step of the light
itself and half a step of the background, which sticks as well."""
SQUARE_PX = 4
N_BOXES_ALONG = 6
UNSTUCK = 0.08
"""First harmonic that a few thousand squares show by chance and by slow slopes."""


def code_floor(
    plane: Plane, background: NDArray[np.float32], noise_frac: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]] | None:
    """Return the depth below which contrast may be made by the codes alone.

    Parameters
    ----------
    plane : Plane
        Its `code_step` tells the width of each code.
    background : (H, W) float32
    noise_frac : (H, W) float32
        Noise of one cell; where it is far below a code, the light sticks locally.

    Returns
    -------
    floor_frac, step_frac : (H, W) float32
        That depth, and the width of one code as a share of the light.
    None
        When the picture has fine codes, or noise enough to hide them.
    """
    if plane.code_step is None:
        return None
    edges = np.concatenate([[0.0], np.cumsum(plane.code_step, dtype=np.float64)])
    centres = ((edges[1:] + edges[:-1]) / 2).astype(np.float32)
    squares, side = plane.light, plane.bin_px
    while side < SQUARE_PX:
        squares, side = pool(squares), 2 * side
    codes = np.interp(squares, centres, np.arange(len(centres))).astype(np.float32)
    box = max(16, max(codes.shape) // N_BOXES_ALONG)
    mesh = np.clip((box_statistic(codes, box, first_harmonic) - UNSTUCK) / (1 - UNSTUCK), 0, 1)
    if mesh.max() <= 0:
        return None
    sticking = np.clip(
        spread_mesh(mesh, background.shape, max(2, box * side // plane.bin_px)), 0, 1
    )
    code = np.searchsorted(edges[1:], background).clip(0, len(centres) - 1)
    step_frac = plane.code_step[code] / np.maximum(background, np.float32(1e-6))
    noise_codes = noise_frac * plane.bin_px / np.maximum(step_frac, np.float32(1e-9))
    local = np.exp(-2 * np.pi**2 * np.minimum(noise_codes, 2) ** 2)
    floor = STICKING_STEPS * step_frac * np.maximum(sticking, local)
    return floor.astype(np.float32), step_frac.astype(np.float32)


def first_harmonic(codes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how strongly values crowd at whole numbers, by row: 0 not at all, 1 all of them."""
    turn = np.exp(2j * np.pi * codes)
    return np.asarray(np.abs(turn.mean(axis=1)), dtype=np.float32)
