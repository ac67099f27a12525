"""Filters that all stages share, with one border rule."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, TypeVar, cast

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

BORDER_MODE: Final = "reflect"
"""Every filter continues a plane by mirroring it at the outer side of its border cells."""
TRUNCATE_SIGMA = 3.0
FWHM_PER_SIGMA: Final = 2 * math.sqrt(2 * math.log(2))
"""Full width at half height of a Gaussian, in sigmas."""
CELL_VARIANCE: Final = 1 / 12
"""What averaging over a cell adds to the variance of a profile, in squared cells."""


Box = tuple[slice, slice]
"""Rows and columns of a crop."""
EIGHT_NEIGHBOURS = np.ones((3, 3), bool)


def label_pieces(mask: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Count the connected pieces of a mask from 1; touching corners connect."""
    label, _ = ndimage.label(mask, EIGHT_NEIGHBOURS)
    return np.asarray(label, dtype=np.int32)


def piece_boxes(label: NDArray[np.int32]) -> list[Box | None]:
    """Return the box round each number of a label image, None for numbers that are not there."""
    return cast("list[Box | None]", ndimage.find_objects(label))


def smooth(plane: NDArray[np.float32], sigma_cell: float) -> NDArray[np.float32]:
    """Blur with a Gaussian."""
    return np.asarray(
        ndimage.gaussian_filter(plane, sigma_cell, mode=BORDER_MODE, truncate=TRUNCATE_SIGMA),
        dtype=np.float32,
    )


def smooth_wide(plane: NDArray[np.float32], sigma_cell: float) -> NDArray[np.float32]:
    """Blur with a wide Gaussian, made of three running means (central limit theorem)."""
    side = max(3, 2 * round((math.sqrt(4 * sigma_cell**2 + 1) - 1) / 2) + 1)
    blurred = plane
    for _ in range(3):
        blurred = ndimage.uniform_filter(blurred, side, mode=BORDER_MODE)
    return np.asarray(blurred, dtype=np.float32)


def pool(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Average squares of 2 x 2 cells; an odd last row or column is repeated."""
    height, width = plane.shape
    if height % 2 or width % 2:
        plane = np.pad(plane, ((0, height % 2), (0, width % 2)), mode="edge")
    total = plane[::2, ::2] + plane[1::2, ::2]
    total += plane[::2, 1::2]
    total += plane[1::2, 1::2]
    total *= np.float32(0.25)
    return total


Value = TypeVar("Value", bound=np.generic)


def enlarge(plane: NDArray[Value], side: int) -> NDArray[Value]:
    """Repeat every cell `side` times along both axes."""
    if side == 1:
        return plane
    # Across first, while the plane is small: copying whole rows is cheap, single cells are not.
    return np.repeat(np.repeat(plane, side, axis=1), side, axis=0)
