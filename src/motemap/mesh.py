"""Robust statistics on a coarse mesh, and their smooth way back to every cell.

A mesh covers the plane from border to border with equal boxes that overlap or part by a cell or
two. Values between box centres come from a piecewise cubic, and beyond the outermost centres from
a straight continuation: clamping there leaves a strip of false contrast of about 1 % along every
border of a vignetted frame.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from motemap.planes import Surface
from motemap.strips import for_each

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from motemap.records import Windows

MIN_BOXES = 2
"""Boxes along an axis at least: one alone has no slope."""
CUBIC_BOXES = 4
"""Boxes along an axis that a piece of the cubic rests on; fewer are joined by straight lines."""
LARGEST_STRIDE, THINNED_FROM_CELLS = 4, 16
"""Larger boxes than this lose nothing by being looked at every fourth cell."""
SIGMA_PER_MAD = 1.4826
"""Normal distribution: standard deviation over median absolute deviation."""


def box_starts(n_cells: int, box_cells: int) -> tuple[NDArray[np.intp], int]:
    """Return where boxes start along one axis, and their side, both in cells."""
    n_boxes = max(MIN_BOXES, round(n_cells / box_cells))
    side = max(1, n_cells // n_boxes)
    # So that every second or fourth cell of a box has the box's own centre: half a cell of
    # shift costs half a cell of slope, 0.2 % under strong vignetting.
    side = max(1, side - (side - 1) % (LARGEST_STRIDE if side > THINNED_FROM_CELLS else 2))
    return np.linspace(0, n_cells - side, n_boxes).round().astype(np.intp), side


def box_statistic(
    plane: Windows,
    box_cells: int,
    statistic: Callable[[NDArray[np.float32]], NDArray[np.float32]],
    *,
    stride: int = 1,
    valid: NDArray[np.bool_] | None = None,
) -> NDArray[np.float32]:
    """Apply a statistic to every box of a mesh.

    Parameters
    ----------
    plane : (H, W) float32
        Values; NaN marks cells that do not count.
    box_cells : int
        Wished side of a box [cells].
    statistic : callable
        Maps (n_boxes, n_values) to (n_boxes,).
    stride : int
        Only every so many-th cell along both axes is looked at.
    valid : (H, W) bool, optional
        Cells that count; all of them when left out.

    Returns
    -------
    (n_rows, n_cols) float32
    """
    row_starts, box_height = box_starts(plane.shape[0], box_cells)
    col_starts, box_width = box_starts(plane.shape[1], box_cells)
    in_strip = plane.shape[1] * np.arange(len(range(0, box_height, stride)))
    in_box = in_strip[:, None] + np.arange(0, box_width, stride)
    cells = col_starts[:, None] + in_box.ravel()

    def statistics_in(first: int) -> NDArray[np.float32]:
        rows = slice(first, first + box_height, stride)
        # Looked up by one number a cell, all of them there: half the time of rows and columns.
        boxes = plane[rows, :].take(cells, mode="clip")
        if valid is not None:
            boxes[~valid[rows].take(cells, mode="clip")] = np.nan
        return statistic(boxes)

    return np.array(for_each(statistics_in, row_starts.tolist()), dtype=np.float32)


def stride_for(box_cells: int, n_values: int) -> int:
    """Return the stride at which a box of this side still shows about so many values: 1, 2 or 4."""
    stride = 1
    while stride < LARGEST_STRIDE and (box_cells / (2 * stride)) ** 2 >= n_values:
        stride *= 2
    return stride


def median_of_rows(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the median of each row; a row of NaN gives NaN. NaN cells do not count."""
    # Sorting short rows of this type is several times as fast as parting them.
    ordered = np.sort(values, axis=1)
    if not np.isnan(ordered[:, -1]).any():
        return ordered[:, values.shape[1] // 2]
    n_good = np.count_nonzero(~np.isnan(ordered), axis=1)
    picked = ordered[np.arange(len(ordered)), np.maximum(n_good - 1, 0) // 2]
    return np.where(n_good > 0, picked, np.float32(np.nan)).astype(np.float32)


@lru_cache(maxsize=32)
def spline_matrix(n_cells: int, box_cells: int, degree: int = 3) -> NDArray[np.float32]:
    """Return the matrix that carries box values along one axis to every cell.

    Parameters
    ----------
    n_cells : int
        Length of the axis.
    box_cells : int
        Wished side of a box, as in `box_statistic`.
    degree : {1, 3}
        The cubic is continued straight beyond the outermost centres; straight lines, which never
        leave the range of the values, are held there.

    Returns
    -------
    (n_cells, n_boxes) float32
    """
    starts, side = box_starts(n_cells, box_cells)
    centres = starts + (side - 1) / 2
    place = np.interp(np.arange(n_cells), centres, np.arange(starts.size))
    is_cubic = degree > 1 and starts.size >= CUBIC_BOXES
    result = (
        _cubic_weights(place, starts.size) if is_cubic else _straight_weights(place, starts.size)
    )
    if degree > 1:
        # Straight on beyond the outermost centres, with the slope between the last two.
        step = centres[1] - centres[0], centres[-1] - centres[-2]
        before = np.clip(centres[0] - np.arange(n_cells), 0, None) / step[0]
        beyond = np.clip(np.arange(n_cells) - centres[-1], 0, None) / step[1]
        result[:, 0] += before
        result[:, 1] -= before
        result[:, -1] += beyond
        result[:, -2] -= beyond
    result.setflags(write=False)
    return result


def straight_between(
    values: NDArray[np.float64], n_cells: int, box_cells: int
) -> NDArray[np.float32]:
    """Carry box values along one axis to every cell by straight lines, as `spline_matrix` does.

    For a single line of boxes: some libraries multiply a matrix of float32 by one column with
    code that may read beyond the ends of both, and then warn of numbers that are not there.

    Parameters
    ----------
    values : (n_boxes,) float
    n_cells, box_cells : int
        As in `spline_matrix`.

    Returns
    -------
    (n_cells,) float32
    """
    starts, side = box_starts(n_cells, box_cells)
    carried = np.interp(np.arange(n_cells), starts + (side - 1) / 2, values)
    return np.asarray(carried, dtype=np.float32)


def _straight_weights(place: NDArray[np.float64], n_boxes: int) -> NDArray[np.float32]:
    lower = np.minimum(place.astype(int), n_boxes - 2)
    weights = np.zeros((place.size, n_boxes), np.float32)
    cells = np.arange(place.size)
    weights[cells, lower] = 1 - (place - lower)
    weights[cells, lower + 1] = place - lower
    return weights


def _cubic_weights(place: NDArray[np.float64], n_boxes: int) -> NDArray[np.float32]:
    """Weights of cubic convolution (R. Keys, IEEE Trans. ASSP 29, 1981, from memory).

    It passes through the box values with a smooth slope, exact for parabolas; a value beyond
    either end is the straight continuation of the last two.
    """
    lower = np.minimum(place.astype(int), n_boxes - 2)
    part = place - lower
    taps = (
        ((-0.5 * part + 1.0) * part - 0.5) * part,
        (1.5 * part - 2.5) * part * part + 1.0,
        ((-1.5 * part + 2.0) * part + 0.5) * part,
        (0.5 * part - 0.5) * part * part,
    )
    weights = np.zeros((place.size, n_boxes + 2), np.float32)
    cells = np.arange(place.size)
    for offset, tap in enumerate(taps):
        weights[cells, lower + offset] = tap
    inner = weights[:, 1:-1]
    for edge, first, second in ((0, 0, 1), (-1, -1, -2)):
        inner[:, first] += 2 * weights[:, edge]
        inner[:, second] -= weights[:, edge]
    return inner


def surface_of_mesh(
    mesh: NDArray[np.float32], shape: tuple[int, int], box_cells: int, degree: int = 3
) -> Surface:
    """Return the surface that carries mesh values to every cell of a plane; see `spline_matrix`."""
    down, across = (spline_matrix(n_cells, box_cells, degree) for n_cells in shape)
    return Surface.of_bases(down, mesh.astype(np.float32), across)


def fill_gaps(mesh: NDArray[np.float32]) -> NDArray[np.float32]:
    """Replace NaN boxes by the mean of their known neighbours, from the rim inwards."""
    filled = mesh.copy()
    while np.isnan(filled).any() and not np.isnan(filled).all():
        padded = np.pad(filled, 1, constant_values=np.nan)
        near = np.stack(
            [
                padded[1 + dr : 1 + dr + filled.shape[0], 1 + dc : 1 + dc + filled.shape[1]]
                for dr in (-1, 0, 1)
                for dc in (-1, 0, 1)
            ]
        )
        known = ~np.isnan(near)
        n_known = known.sum(axis=0)
        total = np.where(known, near, 0).sum(axis=0)
        gap = np.isnan(filled) & (n_known > 0)
        filled[gap] = total[gap] / n_known[gap]
    return filled


def scatter_of_rows(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return 1.4826 x the median absolute deviation of each row, NaN left out."""
    ordered = np.sort(values, axis=1)
    n_values = values.shape[1]
    half = n_values // 2
    if np.isnan(ordered[:, -1]).any():
        deviation = median_of_rows(np.abs(values - median_of_rows(values)[:, None]))
    else:
        # The half that lies nearest to the median is a run of ordered values, the shortest of all
        # in its longer arm: no need to order deviations, too.
        centre = ordered[:, half, None]
        arms = np.maximum(centre - ordered[:, : n_values - half], ordered[:, half:] - centre)
        deviation = arms.min(axis=1)
    return np.float32(SIGMA_PER_MAD) * deviation
