"""How much of a speck's signal to noise is left in the stored file.

Photosites and their noise set one limit. Rounding to 8 bits and JPEG add noise that no filter
can take out again, so a finished picture has a limit of its own: that of a filter that knows
the background, the shape and the noise spectrum of the stored pixels (Hotelling observer,
``snr^2 = sum |S|^2 / P``; H. H. Barrett and K. J. Myers, Foundations of Image Science, 2004,
chapter 13, from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import fft, ndimage

from accuracy_parts.frames import draw_to_file
from motemap.load import load_picture
from motemap.synth.scene import draw_scene

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from motemap.records import ImageInfo, Metadata
    from motemap.synth.spec import FrameSpec

BLOCK_PX = 64
MIDDLE = 0.25
"""Blocks are taken from the middle half of each side, where light hardly falls off."""


def stored_snr(spec: FrameSpec, loss: NDArray[np.float64], folder: Path) -> float:
    """Return the signal to noise of a shadow in the stored pixels in the frame's middle.

    Parameters
    ----------
    spec : FrameSpec
        What the frame is drawn from; it is drawn once without marks.
    loss : (h, w) float64
        Share of light lost, on photosites, no larger than `BLOCK_PX` after shrinking.
    folder : Path
        Where to write for a moment.
    """
    power = noise_power(spec, folder)
    shape = np.zeros((BLOCK_PX * spec.shrink,) * 2)
    rows, cols = loss.shape
    top, left = ((side - count) // 2 for side, count in zip(shape.shape, loss.shape, strict=True))
    shape[top : top + rows, left : left + cols] = loss
    if spec.is_picture and spec.picture.smoothing_px > 0:
        shape = ndimage.gaussian_filter(shape, spec.picture.smoothing_px)
    spectrum = np.abs(fft.fft2(_shrunk(shape, spec.shrink))) ** 2 / BLOCK_PX**2
    return float(np.sqrt((spectrum / power).sum()))


def noise_power(spec: FrameSpec, folder: Path) -> NDArray[np.float64]:
    """Return the mean noise spectrum of blocks of a frame without marks, its field known.

    Returns
    -------
    (64, 64) float64
        Mean squared amplitude per spatial frequency; its mean is the variance of a pixel.
    """
    residue = _residue(spec, folder)
    rows, cols = residue.shape
    blocks = [
        residue[row : row + BLOCK_PX, col : col + BLOCK_PX]
        for row in range(int(MIDDLE * rows), int((1 - MIDDLE) * rows) - BLOCK_PX, BLOCK_PX)
        for col in range(int(MIDDLE * cols), int((1 - MIDDLE) * cols) - BLOCK_PX, BLOCK_PX)
    ]
    levelled = np.stack([block - block.mean() for block in blocks])
    power: NDArray[np.float64] = (np.abs(fft.fft2(levelled)) ** 2).mean(axis=0) / BLOCK_PX**2
    # A block's own mean was taken out, so nothing is known there; its neighbour stands in.
    power[0, 0] = power[0, 1]
    return power


def _residue(spec: FrameSpec, folder: Path) -> NDArray[np.float64]:
    """Return the stored light over the true field, less 1."""
    bare = draw_to_file(spec, folder / "bare", ())

    def whole(info: ImageInfo, metadata: Metadata) -> int:
        del info, metadata
        return 1

    plane = load_picture(bare.path, whole).plane
    bare.path.unlink()
    rng, _ = np.random.default_rng([spec.seed, 2]).spawn(2)
    field = draw_scene(spec.scene, spec.height_px, spec.width_px, rng).astype(np.float64)
    field = _shrunk(field, spec.shrink)
    rows, cols = plane.light.shape
    ratio = plane.light / field[:rows, :cols]
    residue: NDArray[np.float64] = ratio / np.median(ratio) - 1.0
    # A tone curve bends the field a little: what is left of it is smooth.
    return residue - ndimage.gaussian_filter(residue, BLOCK_PX)


def _shrunk(plane: NDArray[np.float64], step: int) -> NDArray[np.float64]:
    rows, cols = (side // step for side in plane.shape)
    blocks = plane[: rows * step, : cols * step].reshape(rows, step, cols, step)
    shrunk: NDArray[np.float64] = blocks.mean(axis=(1, 3))
    return shrunk
