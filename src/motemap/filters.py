"""Filters that all stages share, with one border rule.

OpenCV does the work: it is imported in a tenth of the time of ``scipy.ndimage`` and several times
as fast. It is known here, in `motemap.masks` and in `motemap.distances`, and nowhere else.
"""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Final, TypeVar

import cv2
import numpy as np

from motemap.blas import OneThread
from motemap.strips import cell_strips, for_each, rows_round

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from motemap.records import Windows

BORDER: Final = cv2.BORDER_REFLECT
"""Every filter continues a plane by mirroring it at the outer side of its border cells."""
TRUNCATE_SIGMA = 3.0
"""Gaussians are cut off at so many sigmas, beyond which lies 0.3 % of them along an axis."""
STACK_CELLS = 1 << 17
"""Cells of a stack of small maps at most: it then stays in the processor's cache."""
FWHM_PER_SIGMA: Final = 2 * math.sqrt(2 * math.log(2))
"""Full width at half height of a Gaussian, in sigmas."""
NOISE_OF_BLUR: Final = 2 * math.sqrt(math.pi)
"""A Gaussian of sigma s leaves 1 / (this s) of the noise of a cell."""
CELL_VARIANCE: Final = 1 / 12
"""What averaging over a cell adds to the variance of a profile, in squared cells."""

Real = TypeVar("Real", np.float32, np.float64)


def _limit_opencv() -> Callable[[], None]:
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    return partial(cv2.setNumThreads, before)


one_filter_thread = OneThread(_limit_opencv)
"""Let OpenCV use one thread while work goes on: strips and frames are what is done side by side."""


def smooth(
    plane: NDArray[Real], sigma_cell: float, truncate_sigma: float = TRUNCATE_SIGMA
) -> NDArray[Real]:
    """Blur with a Gaussian along the last axis, or the last two; others count maps apart.

    Parameters
    ----------
    plane : (w,), (h, w) or (n, h, w) float32 or float64
    sigma_cell : float
    truncate_sigma : float
        The Gaussian is cut off at so many sigmas.
    """
    reach = int(truncate_sigma * sigma_cell + 0.5)
    bell = cv2.getGaussianKernel(2 * reach + 1, sigma_cell, cv2.CV_64F).astype(plane.dtype)
    if plane.ndim == 1:
        return _separable(plane[None], bell, np.ones(1, plane.dtype)).ravel()
    *n_maps, height, width = plane.shape
    if not n_maps:
        return _separable(plane, bell, bell)
    # Side by side, each mirrored beyond its ends: OpenCV works along rows, and a call for each map
    # costs more than its cells.
    along = np.arange(-reach, width + reach) % (2 * width)
    mirrored = np.minimum(along, 2 * width - 1 - along)
    beside = plane.transpose(1, 0, 2)[:, :, mirrored]
    blurred = _separable(beside.reshape(height, -1), bell, bell)
    return blurred.reshape(beside.shape)[:, :, reach : reach + width].transpose(1, 0, 2)


def _separable(plane: NDArray[Real], across: NDArray[Real], down: NDArray[Real]) -> NDArray[Real]:
    """Blur with one kernel along the rows and one along the columns."""
    blurred = cv2.sepFilter2D(plane, -1, across, down, borderType=BORDER)
    return np.asarray(blurred, dtype=plane.dtype)


UNIT_REACH: Final = 2
"""Cells that `smooth_unit` reaches to each side."""
_BINOMIAL: Final = np.array([1, 4, 6, 4, 1], np.float32) / np.float32(16)


def smooth_unit(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Blur with the binomial 1-4-6-4-1 along both axes, whose sigma is exactly one cell."""
    return _separable(plane, _BINOMIAL, _BINOMIAL)


_RUNNING_MEANS: Final = 3
"""Running means that stand for a Gaussian: of three, none is seen any more."""


def smooth_wide(plane: NDArray[np.float32], sigma_cell: float) -> NDArray[np.float32]:
    """Blur with a wide Gaussian, made of three running means (central limit theorem)."""
    side = max(3, 2 * round((math.sqrt(4 * sigma_cell**2 + 1) - 1) / 2) + 1)
    height, width = plane.shape
    blurred = np.empty_like(plane)

    def fill(rows: slice) -> None:
        outer, inner = rows_round(rows, _RUNNING_MEANS * (side // 2), height)
        strip = plane[outer]
        for _ in range(_RUNNING_MEANS):
            strip = running_mean(strip, side)
        blurred[rows] = strip[inner]

    for_each(fill, cell_strips(height, width))
    return blurred


def running_mean(plane: NDArray[np.float32], side: int) -> NDArray[np.float32]:
    """Average the squares round all cells, with an odd side of so many."""
    return np.asarray(cv2.blur(plane, (side, side), borderType=BORDER), dtype=np.float32)


def correlated(maps: NDArray[np.float64], template: NDArray[np.float64]) -> NDArray[np.float64]:
    """Hold a template with odd sides against every place of maps, which are 0 beyond their borders.

    Parameters
    ----------
    maps : (n, h, w) float64
        Each is looked at by itself.
    template : (k, l) float64

    Returns
    -------
    (n, h, w) float64
        Sums of products.
    """
    n_maps, height, width = maps.shape
    # Side by side, with room between them: OpenCV works along rows.
    apart = np.zeros((height, n_maps, width + template.shape[1] // 2))
    apart[:, :, :width] = maps.transpose(1, 0, 2)
    beside = apart.reshape(height, -1)
    answer = cv2.filter2D(beside, -1, template, borderType=cv2.BORDER_CONSTANT)
    found: NDArray[np.float64] = np.asarray(answer, dtype=np.float64).reshape(apart.shape)
    return found[:, :, :width].transpose(1, 0, 2)


_LARGEST_MEDIAN: Final = 5
"""Side of the largest square whose median OpenCV takes of such numbers."""


def running_median(plane: NDArray[np.float32], side: int) -> NDArray[np.float32]:
    """Take the median of the squares round all cells; border cells are repeated beyond.

    Parameters
    ----------
    plane : (h, w) float32
    side : int
        Of the squares, odd [cells].
    """
    if side <= _LARGEST_MEDIAN:
        return np.asarray(cv2.medianBlur(plane, side), dtype=np.float32)
    padded = np.pad(plane, side // 2, mode="edge")
    squares = np.lib.stride_tricks.sliding_window_view(padded, (side, side))
    ordered = np.sort(squares.reshape(*plane.shape, side * side), axis=-1)
    middle: NDArray[np.float32] = ordered[..., side * side // 2]
    return middle


def highest_nearby(maps: NDArray[np.float32], side: int) -> NDArray[np.float32]:
    """Return the largest value in the square round each cell.

    Parameters
    ----------
    maps : (n, h, w) float32
        Each is looked at by itself.
    side : int
        Of the squares, odd [cells].
    """
    n_maps, height, width = maps.shape
    # Side by side, with room between them: OpenCV works along rows.
    apart = np.full((height, n_maps, width + side // 2), -np.inf, np.float32)
    apart[:, :, :width] = maps.transpose(1, 0, 2)
    square = np.ones((side, side), np.uint8)
    highest = cv2.dilate(apart.reshape(height, -1), square, borderType=BORDER)
    found: NDArray[np.float32] = np.asarray(highest, dtype=np.float32).reshape(apart.shape)
    return found[:, :, :width].transpose(1, 0, 2)


def largest_steps(
    values: NDArray[np.uint16], reach: int, room: NDArray[np.uint16]
) -> NDArray[np.uint16]:
    """Return how far cells lie from those before them in row and column, whichever is more.

    Parameters
    ----------
    values : (h + reach, w + reach) uint16
    reach : int
        How many cells before.
    room : (2, h, w) uint16
        To work in; half of it is what is returned.
    """
    centre = values[reach:, reach:]
    along: NDArray[np.uint16]
    along, down = room
    cv2.absdiff(centre, values[reach:, :-reach], dst=along)
    cv2.absdiff(centre, values[:-reach, reach:], dst=down)
    cv2.max(along, down, dst=along)
    return along


def look_up(table: NDArray[np.uint16], codes: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """Return what stands in a table of 256 for each code."""
    return np.asarray(cv2.LUT(codes, table), dtype=np.uint16)


SQUARE: Final = 2
"""Side of the squares of cells that planes are pooled to."""


def _even(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Repeat an odd last row or column."""
    height, width = plane.shape
    if not (height % SQUARE or width % SQUARE):
        return plane
    below, right = height % SQUARE, width % SQUARE
    # Several times as fast as NumPy's padding, which a plane of odd sides meets in every strip.
    even = cv2.copyMakeBorder(plane, 0, below, 0, right, cv2.BORDER_REPLICATE)
    return np.asarray(even, dtype=np.float32)


def all_of_squares(valid: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which squares of 2 x 2 cells count, those with all of their cells; see `pool`."""
    height, width = valid.shape
    even = np.pad(valid, ((0, height % SQUARE), (0, width % SQUARE)), mode="edge")
    rows = even[::SQUARE] & even[1::SQUARE]
    return np.asarray(rows[:, ::SQUARE] & rows[:, 1::SQUARE], dtype=np.bool_)


def lowest_of_squares(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the lowest of each square of 2 x 2 cells; see `pool`."""
    even = _even(plane)
    # Rows first, as whole rows are the cheaper.
    rows = np.minimum(even[::SQUARE], even[1::SQUARE])
    lowest: NDArray[np.float32] = np.minimum(rows[:, ::SQUARE], rows[:, 1::SQUARE])
    return lowest


def pool(plane: NDArray[np.float32] | NDArray[np.bool_]) -> NDArray[np.float32]:
    """Average squares of 2 x 2 cells; an odd last row or column is repeated.

    Of a mask, this is the share of each square that it covers.
    """
    even = _even(plane.astype(np.float32, copy=False))
    size = even.shape[1] // SQUARE, even.shape[0] // SQUARE
    pooled = cv2.resize(even, size, interpolation=cv2.INTER_AREA)
    return np.asarray(pooled, dtype=np.float32)


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
