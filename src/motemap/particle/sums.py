"""The plain sum of the light lost around a mark, where no shadow of a speck fits it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.particle.match import TINY
from motemap.particle.radial import crops_around
from motemap.particle.record import LostLight
from motemap.particle.view import MODEL_AREA_ERROR, diameter_um, disc_um2

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.radial import Crops, Discs
    from motemap.particle.view import FrameOptics
    from motemap.records import FlatFrame, MeasuredSpot

SUM_OF_RAYS = 1.0
"""Light is summed out to this many times ``d + B``, twice the radius of the ray shadow."""
LEVEL_OF_SUM = 1.45
MEDIAN_LOSS = math.pi / 2
"""Variance of a median over that of a mean."""


def sum_lights(
    flat: FlatFrame,
    spots: list[MeasuredSpot],
    hidden: Discs,
    optics: FrameOptics,
) -> list[LostLight | None]:
    """Sum the light lost out to twice the ray radius, and put right what falls outside."""
    if not spots:
        return []
    radius_um = np.array([_radius_of_sum_um(spot, optics) for spot in spots])
    radius_cell = radius_um / optics.cell_um
    crops = crops_around(flat, spots, LEVEL_OF_SUM * radius_cell, hidden)
    enclosed_um2 = np.maximum.accumulate(optics.shadows.enclosed_um2(radius_um), axis=1)
    lights: list[LostLight | None] = []
    for mark, radius in enumerate(radius_cell.tolist()):
        seen = _sum_rings(crops, mark, radius)
        lights.append(None if seen is None else _light_of(seen, enclosed_um2[mark], optics))
    return lights


def _radius_of_sum_um(spot: MeasuredSpot, optics: FrameOptics) -> float:
    measured_um2 = max(spot.lost_area_px2, 0.0) * optics.pitch_um**2
    ray_um = max(diameter_um(measured_um2), spot.width_px * optics.pitch_um) + optics.blur_um
    return SUM_OF_RAYS * ray_um


def _light_of(
    seen: tuple[float, float], enclosed_um2: NDArray[np.float64], optics: FrameOptics
) -> LostLight:
    """Turn a sum within a radius, and its error, into a particle's whole light.

    By what specks of all sizes lose within that radius.
    """
    lost_cell2, error_cell2 = seen
    lost_um2 = max(lost_cell2, 0.0) * optics.cell_um**2
    size_um = float(np.interp(lost_um2, enclosed_um2, optics.shadows.size_um))
    if lost_um2 > enclosed_um2[-1]:
        size_um = diameter_um(lost_um2)
    area_um2 = disc_um2(size_um)
    error = error_cell2 * optics.cell_um**2 / max(area_um2, TINY)
    return LostLight(
        area_um2=area_um2,
        error_frac=math.hypot(error, MODEL_AREA_ERROR),
        opacity_frac=1.0,
        depth_frac=0.0,
        misfit=math.inf,
    )


def _sum_rings(crops: Crops, mark: int, radius_cell: float) -> tuple[float, float] | None:
    """Return the light lost within a radius over the level outside it, and its error."""
    cells = crops.cells_of(mark)
    loss, radius = crops.loss[cells], crops.radius_cell[cells]
    inside = radius <= radius_cell
    n_outside = int(np.count_nonzero(~inside))
    if not inside.any() or n_outside == 0:
        return None
    n_rings = max(math.ceil(radius_cell), 1)
    ring = np.minimum(radius[inside].astype(np.intp), n_rings - 1)
    level = float(np.median(loss[~inside]))
    n_cells = np.maximum(np.bincount(ring, minlength=n_rings), 1)
    mean = np.bincount(ring, weights=loss[inside] - level, minlength=n_rings) / n_cells
    edges = np.minimum(np.arange(n_rings + 1, dtype=np.float64), radius_cell)
    area_cell2 = math.pi * np.diff(edges**2)
    whole = float(area_cell2.sum())
    level_error = whole * math.sqrt(MEDIAN_LOSS / n_outside)
    noise_frac = float(crops.noise_frac[mark])
    return float(mean @ area_cell2), noise_frac * math.hypot(math.sqrt(whole), level_error)
