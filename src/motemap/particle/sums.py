"""The plain sum of the light lost around marks, where no shadow of a speck fits them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from motemap.medians import medians_of_runs
from motemap.particle.radial import radial_cells
from motemap.particle.shot_optics import MODEL_AREA_ERROR, diameters_um, disc_um2, own_curves

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.cover import Cover
    from motemap.particle.radial import RadialCells
    from motemap.particle.shot_optics import FrameOptics
    from motemap.particle.sites import Sites
    from motemap.records import FlatFrame

LEVEL_OF_SUM = 1.45
"""The level is taken from beyond the radius of the sum, out to so many times that."""
MEDIAN_LOSS = math.pi / 2
"""Variance of a median over that of a mean."""


class Sums(NamedTuple):
    """The whole light of n marks, after a sum within a radius.

    Parameters
    ----------
    area_um2 : (n,) float64
        Light lost, as an area; 0 where the sum found none [um2].
    error_frac : (n,) float64
        Its standard error, as a share of it; infinite of none.
    is_told : (n,) bool
        Whether there is anything to sum, and a level.
    """

    area_um2: NDArray[np.float64]
    error_frac: NDArray[np.float64]
    is_told: NDArray[np.bool_]


def radius_of_sum_um(
    lost_um2: NDArray[np.float64], width_um: NDArray[np.float64], blur_um: float
) -> NDArray[np.float64]:
    """Return out to where light is summed: ``d + B``, twice the radius of the ray shadow."""
    radius_um: NDArray[np.float64] = np.maximum(diameters_um(lost_um2), width_um) + blur_um
    return radius_um


def sum_lights(
    flat: FlatFrame,
    sites: Sites,
    radius_um: NDArray[np.float64],
    cover: Cover,
    optics: FrameOptics,
) -> Sums:
    """Sum the light lost within a radius of each mark, and put right what falls outside.

    By what specks of all sizes lose within that radius.
    """
    radius_cell = radius_um / optics.cell_um
    cells = radial_cells(flat, sites, LEVEL_OF_SUM * radius_cell, cover)
    lost_cell2, error_cell2, is_told = _sum_rings(cells, radius_cell)
    is_told &= cells.is_shown
    lost_um2 = np.maximum(lost_cell2, 0) * optics.cell_um**2
    enclosed_um2 = np.maximum.accumulate(optics.shadows.enclosed_um2(radius_um), axis=1)
    size_um = own_curves(lost_um2, enclosed_um2, optics.shadows.size_um)
    # No speck that was tried takes no light at all, nor more than the largest of them.
    is_within = (lost_um2 > 0) & (lost_um2 <= enclosed_um2[:, -1])
    area_um2 = np.where(is_within, disc_um2(size_um), lost_um2)
    error = np.full_like(area_um2, np.inf)
    np.divide(error_cell2 * optics.cell_um**2, area_um2, out=error, where=area_um2 > 0)
    return Sums(area_um2=area_um2, error_frac=np.hypot(error, MODEL_AREA_ERROR), is_told=is_told)


def _sum_rings(
    cells: RadialCells, radius_cell: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return the light lost within a radius over the level outside it, and its error, (n,).

    And whether there are cells both inside and outside.
    """
    n_marks = len(radius_cell)
    is_inside = cells.radius_cell <= radius_cell.astype(np.float32)[cells.mark]
    inside, outside = np.flatnonzero(is_inside), np.flatnonzero(~is_inside)
    n_inside, n_outside = (
        np.bincount(cells.mark[some], minlength=n_marks) for some in (inside, outside)
    )
    level = medians_of_runs(cells.loss[outside], n_outside)
    n_rings = np.maximum(np.ceil(radius_cell), 1).astype(np.intp)
    most = int(n_rings.max())
    mark = cells.mark[inside]
    ring = np.minimum(cells.radius_cell[inside].astype(np.intp), n_rings[mark] - 1)
    shape = n_marks, most
    n_cells = np.bincount(mark * most + ring, minlength=n_marks * most).reshape(shape)
    total = np.bincount(mark * most + ring, cells.loss[inside], n_marks * most).reshape(shape)
    # Beyond its last ring there is nothing to be seen of a mark, nor asked.
    is_seen = (n_cells > 0) | (np.arange(most) >= n_rings[:, None])
    mean = _bridged(total / np.maximum(n_cells, 1) - level[:, None], is_seen)
    edges = np.minimum(np.arange(most + 1), radius_cell[:, None])
    area_cell2 = math.pi * np.diff(edges**2, axis=1)
    whole = area_cell2.sum(axis=1)
    level_error = whole * np.sqrt(MEDIAN_LOSS / np.maximum(n_outside, 1))
    error = cells.noise_frac * np.hypot(np.sqrt(whole), level_error)
    return (mean * area_cell2).sum(axis=1), error, (n_inside > 0) & (n_outside > 0)


def _bridged(mean: NDArray[np.float64], is_seen: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Give rings of which nothing is seen what lies between the nearest that are, (n, m)."""
    places = np.arange(mean.shape[1])
    for row in np.flatnonzero(~is_seen.all(axis=1) & is_seen.any(axis=1)).tolist():
        seen = is_seen[row]
        mean[row] = np.interp(places, places[seen], mean[row, seen])
    return mean
