"""What every other detector looks like from here, and the flattening they share.

`sep` and `photutils` bring a background of their own. The blob finders have none and get a
plain block-median background and a block noise map.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from accuracy_parts.scoring import Found
    from motemap.records import Plane

    Statistic = Callable[[NDArray[np.float32]], NDArray[np.float32]]

BLOCK_PX = 96
CLIP_SIGMAS, N_CLIPPINGS = 3.0, 4
LEAST_NOISE = 1e-5
LOG_LEAST_NOISE = 0.4
"""The noise of no place is taken for less than two thirds of the usual one."""
LEAST_LIGHT = 1e-6
DARK_FRAC = 0.06
"""Parts darker than this share of the brightest are left out, as this tool does itself."""


class Detector(Protocol):
    """A detector with one knob, from loose to strict."""

    @property
    def name(self) -> str:
        """Name of the package and the function."""
        ...

    @property
    def thresholds(self) -> tuple[float, ...]:
        """Settings of the knob, loosest first."""
        ...

    def find(self, scene: Scene, threshold: float) -> list[Found]:
        """Return what is found in a frame at one setting."""
        ...


@dataclass(frozen=True, eq=False)
class Scene:
    """A loaded frame as the other detectors get it, with what several of them need.

    Parameters
    ----------
    light : (H, W) float32
        Linear light.
    usable : (H, W) bool
        False where it is clipped or far too dark.
    bin_px : int
        Stored pixels along the side of one cell.
    """

    light: NDArray[np.float32]
    usable: NDArray[np.bool_]
    bin_px: int

    @classmethod
    def from_plane(cls, plane: Plane) -> Scene:
        """Take over a loaded plane."""
        top = float(np.percentile(plane.light[::8, ::8], 99))
        usable = plane.valid & (ndimage.uniform_filter(plane.light, 9) > DARK_FRAC * top)
        return cls(light=np.array(plane.light), usable=usable, bin_px=plane.bin_px)

    @cached_property
    def block_cells(self) -> int:
        """Side of a background block [cells]."""
        return max(8, BLOCK_PX // self.bin_px)

    @cached_property
    def background(self) -> NDArray[np.float32]:
        """Block medians, carried to every cell."""
        return _spread(self.light, self.block_cells, median_of)

    @cached_property
    def significance(self) -> NDArray[np.float32]:
        """Depth of every cell in units of the local noise, 0 where unusable."""
        level = np.maximum(self.background, LEAST_LIGHT)
        depth = (1.0 - self.light / level).astype(np.float32)
        log_noise = _spread(depth, self.block_cells, log_scatter_of)
        # Straight ends of a noise map could run to nothing in a corner.
        noise = np.exp(np.maximum(log_noise, np.median(log_noise) - LOG_LEAST_NOISE))
        return np.where(self.usable, depth / noise, 0).astype(np.float32)

    def to_px(self, cells: float) -> float:
        """Return the stored-pixel position of a cell position."""
        return (cells + 0.5) * self.bin_px - 0.5


def median_of(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the median of each block."""
    middle: NDArray[np.float32] = np.median(blocks, axis=1)
    return middle


def log_scatter_of(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the logarithm of the standard deviation of each block, marks clipped away.

    Not the median absolute deviation: in 8-bit pictures it jumps with the codes.
    """
    spread = np.full(len(blocks), np.inf, dtype=np.float32)
    apart = np.abs(blocks - median_of(blocks)[:, None])
    for _ in range(N_CLIPPINGS):
        kept = np.where(apart <= CLIP_SIGMAS * spread[:, None], apart, np.nan)
        spread = np.sqrt(np.nanmean(kept**2, axis=1)).astype(np.float32)
    logs: NDArray[np.float32] = np.log(np.maximum(spread, LEAST_NOISE))
    return logs


def _spread(plane: NDArray[np.float32], side: int, statistic: Statistic) -> NDArray[np.float32]:
    """Apply a statistic to blocks that cover the plane, and carry it back to every cell.

    Between block centres by cubic splines; beyond the outermost in a straight line, since
    holding them there leaves a false dark strip along the borders.
    """
    starts = [
        np.arange(length // side) * (length - side) // (length // side - 1)
        for length in plane.shape
    ]
    mesh = np.stack(
        [
            statistic(np.stack([plane[r : r + side, c : c + side].ravel() for c in starts[1]]))
            for r in starts[0]
        ]
    )
    mesh = np.pad(mesh, 1, mode="reflect", reflect_type="odd")
    places = []
    for length, first in zip(plane.shape, starts, strict=True):
        centres = first + 0.5 * (side - 1)
        padded = np.concatenate(
            [[2 * centres[0] - centres[1]], centres, [2 * centres[-1] - centres[-2]]]
        )
        places.append(np.interp(np.arange(length), padded, np.arange(padded.size)))
    grid = np.meshgrid(*places, indexing="ij")
    spread: NDArray[np.float32] = ndimage.map_coordinates(mesh, grid, order=3, mode="nearest")
    return spread.astype(np.float32)
