"""Filters that all stages share, with one border rule."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, cast

import numpy as np
from scipy import ndimage

from motemap.strips import cell_strips, for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows

BORDER_MODE: Final = "reflect"
"""Every filter continues a plane by mirroring it at the outer side of its border cells."""
TRUNCATE_SIGMA = 3.0
STACK_CELLS = 1 << 16
"""Cells of a stack of small maps at most: it then stays in the processor's cache."""
FWHM_PER_SIGMA: Final = 2 * math.sqrt(2 * math.log(2))
"""Full width at half height of a Gaussian, in sigmas."""
NOISE_OF_BLUR: Final = 2 * math.sqrt(math.pi)
"""A Gaussian of sigma s leaves 1 / (this s) of the noise of a cell."""
CELL_VARIANCE: Final = 1 / 12
"""What averaging over a cell adds to the variance of a profile, in squared cells."""


Box = tuple[slice, slice]
"""Rows and columns of a crop."""
EIGHT_NEIGHBOURS = np.ones((3, 3), bool)


IN_PLANE_NEIGHBOURS = np.zeros((3, 3, 3), bool)
IN_PLANE_NEIGHBOURS[1] = True


def label_pieces(mask: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Count the connected pieces of a mask from 1; touching corners connect.

    In a stack of masks, (n, h, w), each is looked at by itself and the count goes on.
    """
    neighbours = IN_PLANE_NEIGHBOURS if mask.ndim > EIGHT_NEIGHBOURS.ndim else EIGHT_NEIGHBOURS
    label, _ = ndimage.label(mask, neighbours)
    return np.asarray(label, dtype=np.int32)


def piece_boxes(label: NDArray[np.int32]) -> list[Box | None]:
    """Return the box round each number of a label image, None for numbers that are not there."""
    return cast("list[Box | None]", ndimage.find_objects(label))


def smooth(plane: NDArray[np.float32], sigma_cell: float) -> NDArray[np.float32]:
    """Blur with a Gaussian along the last axis, or the last two; others count maps apart."""
    sigmas = [0.0] * (plane.ndim - 2) + [sigma_cell] * min(plane.ndim, 2)
    return np.asarray(
        ndimage.gaussian_filter(plane, sigmas, mode=BORDER_MODE, truncate=TRUNCATE_SIGMA),
        dtype=np.float32,
    )


BINOMIAL_REACH = 2
"""Cells that the binomial of sigma 1 reaches to each side."""
_BINOMIAL_ADDS = 2 * BINOMIAL_REACH
_BINOMIAL_SUM = np.float32(4.0**_BINOMIAL_ADDS)


def smooth_unit(padded: NDArray[np.float32]) -> NDArray[np.float32]:
    """Blur with the binomial 1-4-6-4-1 along both axes, whose sigma is exactly one cell.

    By adding neighbours four times each way: several times as fast as a sum of products.

    Parameters
    ----------
    padded : (H + 4, W + 4) float32
        With two cells of context on every side; it is used up.

    Returns
    -------
    (H, W) float32
    """
    here, there = padded, np.empty_like(padded)
    for _ in range(_BINOMIAL_ADDS):
        there = np.add(here[:-1], here[1:], out=there[: len(here) - 1])
        here, there = there, here
    for _ in range(_BINOMIAL_ADDS):
        n_cols = here.shape[1] - 1
        there = np.add(here[:, :-1], here[:, 1:], out=there[: len(here), :n_cols])
        here, there = there, here
    here *= 1 / _BINOMIAL_SUM
    return here


def padded_strip(
    plane: Windows, rows: slice, pad: int, extra: tuple[int, int] = (0, 0)
) -> NDArray[np.float32]:
    """Return whole rows with `pad` cells of context all round, mirrored beyond the borders.

    Parameters
    ----------
    plane : (H, W) float32
    rows : slice
    pad : int
        At most half of the plane's sides.
    extra : (int, int)
        Further mirrored cells below and to the right.

    Returns
    -------
    (n + 2 pad + extra[0], W + 2 pad + extra[1]) float32
    """
    height = plane.shape[0]
    first, last = max(rows.start - pad, 0), min(rows.stop + pad + extra[0], height)
    missing = (first - (rows.start - pad), rows.stop + pad + extra[0] - last)
    sides = (missing, (pad, pad + extra[1]))
    return np.pad(plane[first:last, :], sides, mode="symmetric")


def smooth_wide(plane: NDArray[np.float32], sigma_cell: float) -> NDArray[np.float32]:
    """Blur with a wide Gaussian, made of three running means (central limit theorem)."""
    side = max(3, 2 * round((math.sqrt(4 * sigma_cell**2 + 1) - 1) / 2) + 1)
    blurred = plane
    for _ in range(3):
        blurred = ndimage.uniform_filter(blurred, side, mode=BORDER_MODE)
    return np.asarray(blurred, dtype=np.float32)


SQUARE: Final = 2
"""Side of the squares of cells that planes are pooled to."""


def all_of_squares(valid: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which squares of 2 x 2 cells count, those with all of their cells; see `pool`."""
    height, width = valid.shape
    even = np.pad(valid, ((0, height % SQUARE), (0, width % SQUARE)), mode="edge")
    rows = even[::SQUARE] & even[1::SQUARE]
    return np.asarray(rows[:, ::SQUARE] & rows[:, 1::SQUARE], dtype=np.bool_)


def pool(plane: NDArray[np.float32] | NDArray[np.bool_]) -> NDArray[np.float32]:
    """Average squares of 2 x 2 cells; an odd last row or column is repeated.

    Of a mask, this is the share of each square that it covers.
    """
    height, width = plane.shape
    missing = ((0, height % 2), (0, width % 2))
    even = np.pad(plane, missing, mode="edge") if height % 2 or width % 2 else plane
    # Rows first: whole rows are added several times as fast as every second cell of them.
    rows: NDArray[np.float32] = np.add(even[::2], even[1::2], dtype=np.float32)
    total = rows[:, ::2] + rows[:, 1::2]
    total *= np.float32(0.25)
    return total


def pool_windows(plane: Windows | NDArray[np.bool_], n_times: int) -> NDArray[np.float32]:
    """Average squares of 2**n x 2**n cells; lines missing at the end are repeated; see `pool`."""
    height = plane.shape[0]
    step = 2**n_times
    shape = [-(-side // step) for side in plane.shape]
    pooled = np.empty(shape, np.float32)

    def fill(rows: slice) -> None:
        strip = plane[rows, :]
        for _ in range(n_times):
            strip = pool(strip)
        pooled[rows.start // step : -(-rows.stop // step)] = strip

    for_each(fill, cell_strips(height, plane.shape[1], step=step))
    return pooled
