"""How much light a mark takes in all: the particle's shadow area, whatever the aperture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.table import wave_length_um
from motemap.optics.waves import Shadows, Waves, depth_curve, shadows
from motemap.particle.radial import Crop, crop_around, ring_means, rings
from motemap.particle.view import UM_PER_MM, diameter_um, disc_um2

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpot, Stack

OPACITIES = (1.0, 0.85, 0.7, 0.55, 0.4)
CLEAR_GAIN = 6.0
"""How much better, in squared sigmas, a part-transparent grain must fit to be believed."""
DEPTH_SLACK = (0.8, 1.25)
SLACK_SIGMA = 0.05
"""A shadow may be so much deeper than the model, in logarithm: an odd shape, a tone curve."""
MODEL_ERROR = 0.02
LARGEST_SIZE = 14.0
LARGEST_MISFIT = 4.0
LARGEST_FITTED = 1.2
"""Widest particle, in blur discs, whose shape in detail does not matter."""
RINGS_OF_REACH = 24
SMALLEST_RING_CELL = 0.5
REACH_OF_WIDTH = 1.5
REACH_MARGIN_CELL = 3.0
SUM_OF_RAYS = 1.0
"""Light is summed out to this many times ``d + B``, twice the radius of the ray shadow."""
LEVEL_OF_SUM = 1.45
MODEL_AREA_ERROR = 0.04
MEDIAN_LOSS = math.pi / 2
"""Variance of a median over that of a mean."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LostLight:
    """The light a mark takes, freed of noise and of what the shadow throws too wide.

    Parameters
    ----------
    area_um2 : float
        Light lost in all, as an area [um2].
    error_frac : float
        Standard error of `area_um2`, as a share of it.
    opacity_frac : float
        Share of the light the particle stops where it lies, as far as one aperture tells;
        1 unless the shape of the shadow speaks against it.
    depth_frac : float
        Depth of the shadow at the pixel scale (0-1).
    misfit : float
        Mean squared residual in units of what is expected (about 1 and less).
    """

    area_um2: float
    error_frac: float
    opacity_frac: float
    depth_frac: float
    misfit: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Optics:
    """What all marks of one frame share; `n_sizes` of the sizes are worth trying."""

    shadows: Shadows
    n_sizes: int
    blur_um: float
    cell_um: float
    tau_um: float
    f_number: float
    pitch_um: float


def measure_light(
    flat: FlatFrame,
    spots: Sequence[MeasuredSpot],
    *,
    stack: Stack,
    f_number: float,
    pitch_um: float,
) -> tuple[LostLight | None, ...]:
    """Measure the light that each mark of a frame takes, as specks on the filter stack.

    Parameters
    ----------
    flat : FlatFrame
        The flattened test shot.
    spots : sequence of MeasuredSpot
        All marks of the frame; those near a mark are left out of its sums.
    stack : Stack
        Distance of the dust.
    f_number : float
        Marked f-number of the shot.
    pitch_um : float
        Distance of stored pixels [um].

    Returns
    -------
    tuple of LostLight or None
        One a spot; None where nothing can be measured.
    """
    if stack.distance_mm is None:
        return (None,) * len(spots)
    optics = _optics(stack.distance_mm * UM_PER_MM, f_number, pitch_um, flat.bin_px)
    rows_px = np.array([spot.centre.row_px for spot in spots])
    cols_px = np.array([spot.centre.col_px for spot in spots])
    reach_px = np.array([max(spot.width_px, spot.length_px / 2) for spot in spots])
    found = []
    for index, spot in enumerate(spots):
        apart_px = np.hypot(rows_px - spot.centre.row_px, cols_px - spot.centre.col_px)
        own_px = LEVEL_OF_SUM * (2 * spot.width_px + optics.blur_um / pitch_um)
        near = np.flatnonzero(apart_px < own_px + reach_px)
        found.append(_light(flat, spot, [spots[int(i)] for i in near if i != index], optics))
    return tuple(found)


def _optics(tau_um: float, f_number: float, pitch_um: float, bin_px: int) -> _Optics:
    cell_um = pitch_um * bin_px
    seen = shadows(tau_um, f_number, cell_um)
    largest_um = LARGEST_SIZE * wave_length_um(tau_um)
    return _Optics(
        shadows=seen,
        n_sizes=int(np.searchsorted(seen.size_um, largest_um)),
        blur_um=tau_um / f_number,
        cell_um=cell_um,
        tau_um=tau_um,
        f_number=f_number,
        pitch_um=pitch_um,
    )


def _light(
    flat: FlatFrame, spot: MeasuredSpot, near: list[MeasuredSpot], optics: _Optics
) -> LostLight | None:
    fitted = _fit(flat, spot, near, optics)
    if fitted is not None and fitted.misfit <= LARGEST_MISFIT:
        size_um = diameter_um(fitted.area_um2 / fitted.opacity_frac)
        if size_um <= LARGEST_FITTED * optics.blur_um:
            return fitted
    return _sum(flat, spot, near, optics, fitted)


def _fit(
    flat: FlatFrame, spot: MeasuredSpot, near: list[MeasuredSpot], optics: _Optics
) -> LostLight | None:
    """Fit size, opacity and local level to the rings around a mark."""
    reach_cell = REACH_OF_WIDTH * spot.width_px / flat.bin_px + REACH_MARGIN_CELL
    crop = crop_around(flat, spot, reach_cell, near)
    if crop is None:
        return None
    around = rings(crop, max(SMALLEST_RING_CELL, crop.reach_cell / RINGS_OF_REACH))
    radius_um = optics.shadows.radius_um
    step_cell = float(radius_um[1] - radius_um[0]) / optics.cell_um
    means = ring_means(crop, around, radius_um.size, step_cell)
    peak = float(np.abs(around.loss).max())
    variance = crop.noise_frac**2 / np.maximum(around.n_cells, 1) + (MODEL_ERROR * peak) ** 2
    weights = np.where(around.n_cells > 0, 1 / variance, 0)
    every = slice(0, optics.n_sizes)
    seen = Waves(
        cross=means @ optics.shadows.waves.cross[:, every],
        power=means @ optics.shadows.waves.power[:, every],
    )
    best: LostLight | None = None
    n_rings = max(int(np.count_nonzero(weights)), 1)
    for opacity in OPACITIES:
        fit = _fit_size(seen.loss(opacity), around.loss, weights)
        if best is None or fit.misfit < best.misfit * n_rings - CLEAR_GAIN:
            best = _light_of(fit, opacity, n_rings, optics)
    return best


@dataclass(frozen=True, slots=True, kw_only=True)
class _SizeFit:
    """Place of the best size among those tried, factor of its depth, squared misfit, error."""

    place: float
    factor: float
    misfit: float
    place_error: float


def _fit_size(
    models: NDArray[np.float64], loss: NDArray[np.float64], weights: NDArray[np.float64]
) -> _SizeFit:
    total = weights.sum()
    model = models - (weights @ models) / total
    wanted = loss - (weights @ loss) / total
    power = np.maximum(weights @ model**2, np.finfo(np.float64).tiny)
    cross = (weights * wanted) @ model
    prior = 1 / SLACK_SIGMA**2
    # A factor near 1 is free within its prior: the best one in closed form.
    factor = np.clip((cross + prior) / (power + prior), *DEPTH_SLACK)
    misfit = weights @ wanted**2 - 2 * factor * cross + factor**2 * power
    misfit = misfit + prior * (factor - 1) ** 2
    best = int(np.clip(misfit.argmin(), 1, misfit.size - 2))
    before, least, after = misfit[best - 1 : best + 2]
    bend = max(before - 2 * least + after, np.finfo(np.float64).tiny)
    return _SizeFit(
        # Clipped before it is divided: a misfit without a bend would be divided by nothing.
        place=best + float(np.clip((before - after) / 2, -bend, bend) / bend),
        factor=float(factor[best]),
        misfit=float(misfit.min()),
        place_error=math.sqrt(2 / bend),
    )


def _light_of(fit: _SizeFit, opacity: float, n_rings: int, optics: _Optics) -> LostLight:
    sizes_um = optics.shadows.size_um
    places = np.arange(sizes_um.size)
    log_size = float(np.interp(fit.place, places, np.log(sizes_um)))
    step = float(np.interp(fit.place, places[1:], np.diff(np.log(sizes_um))))
    size_um = math.exp(log_size)
    curve = depth_curve(optics.tau_um, optics.f_number, optics.pitch_um)
    return LostLight(
        area_um2=fit.factor * opacity * disc_um2(size_um),
        error_frac=math.hypot(2 * step * fit.place_error, MODEL_AREA_ERROR),
        opacity_frac=opacity,
        depth_frac=min(1.0, fit.factor * float(curve.depth(size_um, opacity))),
        misfit=fit.misfit / n_rings,
    )


def _sum(
    flat: FlatFrame,
    spot: MeasuredSpot,
    near: list[MeasuredSpot],
    optics: _Optics,
    fitted: LostLight | None,
) -> LostLight | None:
    """Sum the light lost out to twice the ray radius, and put right what falls outside."""
    measured_um2 = max(spot.lost_area_px2, 0.0) * optics.pitch_um**2
    ray_um = max(diameter_um(measured_um2), spot.width_px * optics.pitch_um) + optics.blur_um
    radius_um = SUM_OF_RAYS * ray_um
    radius_cell = radius_um / optics.cell_um
    crop = crop_around(flat, spot, LEVEL_OF_SUM * radius_cell, near)
    if crop is None:
        return None
    seen = _sum_rings(crop, radius_cell)
    if seen is None:
        return None
    lost_cell2, error_cell2 = seen
    lost_um2 = max(lost_cell2, 0.0) * optics.cell_um**2
    enclosed_um2 = np.maximum.accumulate(optics.shadows.enclosed_um2(radius_um))
    size_um = float(np.interp(lost_um2, enclosed_um2, optics.shadows.size_um))
    if lost_um2 > enclosed_um2[-1]:
        size_um = diameter_um(lost_um2)
    area_um2 = disc_um2(size_um)
    error = error_cell2 * optics.cell_um**2 / max(area_um2, np.finfo(np.float64).tiny)
    is_speck = fitted is not None and fitted.misfit <= LARGEST_MISFIT
    return LostLight(
        area_um2=area_um2,
        error_frac=math.hypot(error, MODEL_AREA_ERROR),
        opacity_frac=fitted.opacity_frac if fitted is not None and is_speck else 1.0,
        depth_frac=fitted.depth_frac if fitted is not None and is_speck else spot.depth_frac,
        misfit=math.inf if fitted is None else fitted.misfit,
    )


def _sum_rings(crop: Crop, radius_cell: float) -> tuple[float, float] | None:
    """Return the light lost within a radius over the level outside it, and its error."""
    inside = crop.radius_cell <= radius_cell
    n_outside = int(np.count_nonzero(~inside))
    if not inside.any() or n_outside == 0:
        return None
    level = float(np.median(crop.loss[~inside]))
    within = Crop(
        radius_cell=crop.radius_cell[inside],
        loss=crop.loss[inside] - level,
        noise_frac=crop.noise_frac,
        reach_cell=radius_cell,
    )
    around = rings(within, 1.0)
    edges = np.minimum(np.arange(around.loss.size + 1, dtype=np.float64), radius_cell)
    area_cell2 = math.pi * np.diff(edges**2)
    lost = float(around.loss @ area_cell2)
    whole = float(area_cell2.sum())
    level_error = whole * math.sqrt(MEDIAN_LOSS / n_outside)
    return lost, crop.noise_frac * math.hypot(math.sqrt(whole), level_error)
