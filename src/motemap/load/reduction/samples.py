"""Stored values of one picture, whatever file they came from, read strip by strip."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from motemap.records import ImageInfo, Metadata

MOSAIC_SIDE_PX = 2
WIDE_MOSAIC_SIDE_PX = 6
"""Sides of the repeats of mosaics that there are."""
_BLOCK_PX = 3
"""Side of the four blocks of the wide one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StoredSamples:
    """Values proportional to light above a black level, one a pixel.

    Parameters
    ----------
    read_rows : callable
        ``read_rows(start, stop)`` gives a (stop - start, W) uint16 array that is not to be
        written to, in any thread.
    height_px, width_px : int
        Stored size.
    black : (p, p) float32
        Black level of each corner of the mosaic's repeat; p is 1, 2 or 6.
    colours : (p, p) uint8
        Which colour lies where in the repeat.
    clip_from : int
        Values from here on are clipped.
    full_scale : float
        Value, black included, that stands for a light of 1.
    code_light : (n,) float32 or None
        Light of each stored code, for pictures with few codes.
    block_step_codes : (8, 8) float32 or None
        Steps of the cosines of blocks, for pictures that were stored as such; see `Plane`.
    is_raw : bool
        Whether they come straight from the sensor.
    has_photosites : bool
        Whether each value is one photosite's own, and not worked out from several.
    """

    read_rows: Callable[[int, int], NDArray[np.uint16]]
    height_px: int
    width_px: int
    black: NDArray[np.float32]
    colours: NDArray[np.uint8]
    clip_from: int
    full_scale: float
    code_light: NDArray[np.float32] | None = None
    block_step_codes: NDArray[np.float32] | None = None
    is_raw: bool = False
    has_photosites: bool = False

    @property
    def period_px(self) -> int:
        """Side of the mosaic's repeat; 1 where there is none."""
        return int(self.black.shape[0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenPicture:
    """A decoded picture; its samples live as long as the file is open."""

    samples: StoredSamples
    info: ImageInfo
    metadata: Metadata


def allowed_bin(wished_px: int, samples: StoredSamples) -> int:
    """Round a bin side down to what leaves every cell with the same colours.

    A 2x2 mosaic wants even sides. A 6x6 mosaic wants multiples of 3 when its four 3x3 blocks
    hold the same colours (five green, two red, two blue), and of 6 when the picture starts
    somewhere else in the repeat.
    """
    step_px = samples.period_px
    if step_px == WIDE_MOSAIC_SIDE_PX and _has_equal_blocks(samples.colours):
        step_px = _BLOCK_PX
    most_px = min(samples.height_px, samples.width_px)
    fitting_px = min(wished_px, most_px) // step_px * step_px
    return max(fitting_px, step_px)


def _has_equal_blocks(colours: NDArray[np.uint8]) -> bool:
    blocks = [
        np.sort(colours[row : row + _BLOCK_PX, col : col + _BLOCK_PX], axis=None)
        for row in (0, _BLOCK_PX)
        for col in (0, _BLOCK_PX)
    ]
    return all(np.array_equal(block, blocks[0]) for block in blocks[1:])


def strip_height(bin_px: int, period_px: int, wanted_px: int) -> int:
    """Return a number of rows near `wanted_px` that cuts neither cells nor the mosaic."""
    whole_px = math.lcm(bin_px, period_px)
    return whole_px * max(1, round(wanted_px / whole_px))
