"""What coarse codes do to a flat field: contour rings that look like edges.

Where the noise is well below one code, the mean over many pixels no longer follows the light
but sticks to whole codes. How much it sticks is read off the picture itself: with enough noise
the mean codes of small squares fall anywhere between two codes, without they crowd at whole
ones. Strong compression keeps the means of blocks in steps of several codes, and the light sticks
to these: rings several codes high, along the blocks. The measure is the first harmonic of that
distribution (the characteristic function of B. Widrow and I. Kollar, "Quantization Noise", 2008,
from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.mesh import box_statistic, surface_of_mesh
from motemap.planes import Steps

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Plane, Windows

STICKING_STEPS = 1.0
"""Largest false depth where the light sticks to codes, in code steps: half a step of the light
itself and half a step of the background, which sticks as well."""
SQUARE_PX = 4
"""Side of a square whose mean light is held against the codes [stored px]."""
BLOCK_PX = 8
"""Side of a block in which a JPEG keeps a picture [stored px]. Of its mean it keeps so many times as
much, in whole steps of its own (ITU-T T.81, A.3.3 and A.3.4)."""
SQUARES_WANTED = 100_000
"""So many squares are looked at, a few thousand a box."""
STEP_CELLS = 8
"""Cells that share one floor: the background hardly changes over so few."""
N_BOXES_ALONG = 6
"""Boxes along each side of the frame in which it is asked whether the light sticks."""
UNSTUCK = 0.08
"""First harmonic that a few thousand squares show by chance and by slow slopes."""


def code_floor(
    plane: Plane, background: Windows, noise_frac: Windows
) -> tuple[Steps, Steps] | None:
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
    floor_frac, step_frac : (H, W) Steps
        That depth, and the width of one code as a share of the light.
    None
        When the picture has fine codes, or noise enough to hide them.
    """
    if plane.code_step is None:
        return None
    edges = code_edges(plane.code_step)
    centres = ((edges[1:] + edges[:-1]) / 2).astype(np.float32)
    n_codes = _codes_of_step(plane)
    squares, side = _some_squares(plane, SQUARE_PX if n_codes == 1 else BLOCK_PX)
    codes = np.interp(squares, centres, np.arange(len(centres))).astype(np.float32)
    box = max(16, max(codes.shape) // N_BOXES_ALONG)
    mesh = box_statistic(codes, box, first_harmonic)
    if n_codes > 1:
        # The picture itself has whole codes once more, so that steps of 1.6 are 1 or 2 high.
        mesh = np.maximum(mesh, box_statistic(codes / np.float32(n_codes), box, first_harmonic))
    mesh = np.clip((mesh - UNSTUCK) / (1 - UNSTUCK), 0, 1)
    if mesh.max() <= 0:
        return None
    shape = (background.shape[0], background.shape[1])
    sticking = surface_of_mesh(mesh, shape, max(2, box * side // plane.bin_px))
    rows, cols = (slice(min(STEP_CELLS // 2, n - 1), None, STEP_CELLS) for n in shape)
    light = background[rows, cols]
    code = np.minimum(np.searchsorted(edges[1:].astype(np.float32), light), len(centres) - 1)
    step = (plane.code_step[code] / np.maximum(light, np.float32(1e-6))).astype(np.float32)
    noise_codes = noise_frac[rows, cols] * plane.bin_px / np.maximum(step, np.float32(1e-9))
    local = np.exp(-2 * np.pi**2 * np.minimum(noise_codes / np.float32(n_codes), 2) ** 2)
    floor = (
        np.float32(STICKING_STEPS * n_codes)
        * step
        * np.maximum(np.clip(sticking[rows, cols], 0, 1), local)
    )
    return (
        Steps(values=floor.astype(np.float32), side=STEP_CELLS, shape=shape),
        Steps(values=step, side=STEP_CELLS, shape=shape),
    )


def code_edges(code_step: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return between which light each of n codes lies, (n + 1,), given the width of each."""
    return np.concatenate([[0.0], np.cumsum(code_step, dtype=np.float64)])


def _codes_of_step(plane: Plane) -> float:
    """Return how many codes the steps to which light can stick are apart, 1 or more."""
    if plane.block_step_codes is None:
        return 1.0
    return max(float(plane.block_step_codes[0, 0]) / BLOCK_PX, 1.0)


def _some_squares(plane: Plane, square_px: int) -> tuple[NDArray[np.float32], int]:
    """Return the mean light of squares all over the picture, and how far apart they lie [px]."""
    n_cells = max(1, square_px // plane.bin_px)
    n_squares = plane.light.size / n_cells**2
    apart = n_cells * max(1, math.isqrt(int(n_squares / SQUARES_WANTED)))
    height, width = (n // apart * apart for n in plane.light.shape)
    light = plane.light[:height, :width]
    total = np.zeros((height // apart, width // apart), np.float32)
    for down in range(n_cells):
        for right in range(n_cells):
            total += light[down::apart, right::apart]
    total /= np.float32(n_cells**2)
    return total, apart * plane.bin_px


def first_harmonic(codes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how strongly values crowd at whole numbers, by row: 0 not at all, 1 all of them."""
    turn = np.float32(2 * np.pi) * (codes - np.rint(codes))
    # Twenty times as fast as complex powers.
    harmonic = np.hypot(np.cos(turn).mean(axis=1), np.sin(turn).mean(axis=1))
    return np.asarray(harmonic, dtype=np.float32)
