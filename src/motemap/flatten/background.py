"""The light a clean sensor would have seen: vignetting, tilt and soft screen structure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.polynomial import legendre

from motemap.filters import running_median
from motemap.mesh import (
    SIGMA_PER_MAD,
    box_starts,
    box_statistic,
    fill_gaps,
    median_of_rows,
    stride_for,
    surface_of_mesh,
)
from motemap.planes import Surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

POLYNOMIAL_ORDER = 8
"""Enough for vignetting to the eighth power of the field radius."""
FIT_ROUNDS = 4
"""Fits, each weighted by what the last left of the boxes."""
OUTLIER_SIGMA = 3.0
"""A box off by so many robust standard deviations weighs half; a choice."""
VALUES_IN_BOX = 500
"""So many cells of a box tell its median to 6 % of the noise of one."""


def estimate_background(
    light: NDArray[np.float32],
    valid: NDArray[np.bool_],
    box_cells: int,
    median_boxes: int = 3,
) -> Surface:
    """Estimate the smooth background under all marks, right up to the borders.

    A polynomial over the whole frame takes the vignetting, so that what is left to the mesh
    of box medians is small and can be followed across corners without overshoot.

    Parameters
    ----------
    light : (H, W) float32
        Linear light.
    valid : (H, W) bool
        Cells that count.
    box_cells : int
        Side of a box [cells].
    median_boxes : int
        Box medians are taken over so many boxes a side once more; what is narrower than about
        0.8 of that is left out of the background.

    Returns
    -------
    Surface
    """
    shape = (light.shape[0], light.shape[1])
    counted = None if valid.all() else valid
    stride = stride_for(box_cells, VALUES_IN_BOX)
    mesh = fill_gaps(box_statistic(light, box_cells, median_of_rows, stride=stride, valid=counted))
    if np.isnan(mesh).any():
        return Surface.even(shape, 1.0)
    coefficients = _fit_polynomial(mesh, light.shape, box_cells)
    smooth_mesh = _polynomial(coefficients, *_centres(light.shape, box_cells))[:, :]
    rest = _median_of_boxes(mesh - smooth_mesh, median_boxes)
    wide = _polynomial(coefficients, _unit(shape[0]), _unit(shape[1]))
    return wide + surface_of_mesh(rest, shape, box_cells)


def _unit(n_cells: int) -> NDArray[np.float64]:
    return np.asarray((np.arange(n_cells) + 0.5) * (2.0 / n_cells) - 1.0, dtype=np.float64)


def _centres(
    shape: tuple[int, ...], box_cells: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    units = []
    for n_cells in shape:
        starts, side = box_starts(n_cells, box_cells)
        unit = (starts + side / 2) * (2.0 / n_cells) - 1.0
        units.append(np.asarray(unit, dtype=np.float64))
    return units[0], units[1]


def _polynomial(
    coefficients: NDArray[np.float64], rows: NDArray[np.float64], cols: NDArray[np.float64]
) -> Surface:
    order = coefficients.shape[0] - 1
    down, across = (legendre.legvander(unit, order).astype(np.float32) for unit in (rows, cols))
    return Surface.of_bases(down, coefficients.astype(np.float32), across)


def _fit_polynomial(
    mesh: NDArray[np.float32], shape: tuple[int, ...], box_cells: int
) -> NDArray[np.float64]:
    """Fit Legendre products up to a total order; boxes that stand off weigh little.

    They are never left out altogether: a dark corner without any weight would let the
    polynomial run away there.
    """
    order = int(min(POLYNOMIAL_ORDER, min(mesh.shape) // 2))
    down, across = (
        np.asarray(legendre.legvander(unit, order), dtype=np.float64)
        for unit in _centres(shape, box_cells)
    )
    values = mesh.astype(np.float64)
    weight: NDArray[np.float64] = np.ones(values.shape)
    coefficients = np.zeros((order + 1, order + 1))
    for _ in range(FIT_ROUNDS):
        coefficients = _weighted_fit(down, across, values, weight**2)
        rest = values - down @ coefficients @ across.T
        sigma = SIGMA_PER_MAD * np.median(np.abs(rest - np.median(rest)))
        weight = np.asarray(1.0 / np.hypot(1.0, rest / (OUTLIER_SIGMA * sigma + 1e-9)))
    return coefficients


def _weighted_fit(
    down: NDArray[np.float64],
    across: NDArray[np.float64],
    values: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Fit products of two bases, whose orders sum up to no more than those of one go, to a mesh.

    The normal equations are made along one axis after the other, in a hundredth of the work and
    memory that a row for each box would take. Legendre products are nearly orthogonal, so
    normal equations lose nothing.

    Parameters
    ----------
    down : (h, n) float64
        Basis along the rows.
    across : (w, n) float64
    values, weight : (h, w) float64

    Returns
    -------
    (n, n) float64
        What each product is multiplied with, 0 above that order.
    """
    n_orders = down.shape[1]
    both_down, both_across = (
        (basis[:, :, None] * basis[:, None, :]).reshape(len(basis), -1) for basis in (down, across)
    )
    moments = (both_down.T @ weight @ both_across).reshape((n_orders,) * 4)
    kept = np.flatnonzero(np.add.outer(np.arange(n_orders), np.arange(n_orders)) < n_orders)
    normal = moments.swapaxes(1, 2).reshape(n_orders**2, -1)[np.ix_(kept, kept)]
    wanted = (down.T @ (weight * values) @ across).ravel()[kept]
    coefficients = np.zeros(n_orders**2)
    coefficients[kept] = np.linalg.lstsq(normal, wanted, rcond=None)[0]
    return coefficients.reshape(n_orders, n_orders)


def _median_of_boxes(mesh: NDArray[np.float32], n_boxes: int) -> NDArray[np.float32]:
    """Take a running median of boxes; straight continuation beyond the rim keeps slopes."""
    half = min(n_boxes // 2, min(mesh.shape) - 1)
    if half < 1:
        return mesh
    padded = np.pad(mesh, half, mode="reflect", reflect_type="odd")
    middle = running_median(padded, 2 * half + 1)
    return middle[half:-half, half:-half]
