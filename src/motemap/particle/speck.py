"""Compact marks: specks, drops, flakes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.depths import OPACITIES, depth_curve
from motemap.optics.waves import shadows
from motemap.optics.widths import half_width_um
from motemap.particle.forecast import Shadow
from motemap.particle.layer import judge_layers
from motemap.particle.record import Draft, Particle
from motemap.particle.view import View, diameter_um, disc_um2, size_range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.particle.layer import Judged
    from motemap.particle.record import LostLight
    from motemap.records import MeasuredSpot

SIZE_SPREAD = 0.04
"""Error of a diameter that the model itself brings: outlines, opacity, pupil; drawn frames."""
ROUGH_SPREAD = 0.1
"""The same without the frame's own light at hand: bright ring and window are guessed."""
WINDOW_OF_WIDTH = 1.5
"""Radius, in widths, within which the first estimate of lost area was summed."""
FILM_WIDTHS = 1.3
"""Times wider than an opaque speck's shadow from which on a mark counts as a film."""
FACTOR_RANGE = (0.3, 1.5)
TRUSTED_MISFIT = 4.0
CLEAR_GAIN = 0.5
"""Bright over dark light from which on a mark is a clear drop: opaque specks reach 0.36."""
CLEAR_FACTORS = (0.01, 1.5)
RIM_ASPECT = 3.0
FAINTEST = 0.01
"""Least opacity reckoned with."""
INSIDE_SHARE = 0.2
"""Distance of marks inside, as a share of the stack's; they hardly change with aperture."""


def size_specks(
    spots: Sequence[MeasuredSpot], lights: Sequence[LostLight | None], view: View
) -> list[Draft]:
    """Draft compact marks: their sizes and layers, and what their forecasts are made from.

    Parameters
    ----------
    spots : sequence of MeasuredSpot
        The marks.
    lights : sequence of LostLight or None
        The light each takes; None falls back on the mark's first estimate.
    view : View
        The optics of the shot.
    """
    measured = [_measured(spot, view, light) for spot, light in zip(spots, lights, strict=True)]
    sizes_um = [diameter_um(area_um2) for area_um2, _ in measured]
    layers = judge_layers(spots, sizes_um, lights, view)
    return [
        size_clear(spot, view, max(area_um2, 0.0))
        if is_clear(spot)
        else _draft(spot, light, (area_um2, spread), judged, view)
        for spot, light, (area_um2, spread), judged in zip(
            spots, lights, measured, layers, strict=True
        )
    ]


def _measured(spot: MeasuredSpot, view: View, light: LostLight | None) -> tuple[float, float]:
    """Return the light lost as an area [um2], and the spread of the diameter."""
    if light is None:
        return _unwindowed_um2(spot, view), math.hypot(ROUGH_SPREAD, 1 / spot.snr)
    return light.area_um2, math.hypot(SIZE_SPREAD, light.error_frac / 2)


def _draft(
    spot: MeasuredSpot,
    light: LostLight | None,
    measured: tuple[float, float],
    judged: Judged,
    view: View,
) -> Draft:
    """Draft a mark whose layer is judged, from its area and spread."""
    area_um2, spread = measured
    factors: tuple[float, float] | None = FACTOR_RANGE
    if judged.layer == "lens side":
        # A uniform disc: its own width and depth say more than a sum laid out for the stack.
        area_um2 = spot.depth_frac * disc_um2(spot.width_px * view.pitch_um)
        shadow = _speck(area_um2, 1.0, view.f_number * spot.width_px * view.pitch_um, view)
    elif judged.layer == "inside":
        shadow = _speck(area_um2, 1.0, INSIDE_SHARE * view.tau_um, view)
    elif light is not None and light.misfit <= TRUSTED_MISFIT and judged.layer == "filter stack":
        shadow, factors = _speck(area_um2, light.opacity_frac, view.tau_um, view), None
    else:
        shadow = _guessed(spot, view, area_um2)
    particle_um = diameter_um(area_um2)
    particle = Particle(
        particle_um=particle_um,
        particle_um_range=size_range(particle_um, spread),
        length_um=spot.length_px * view.pitch_um,
        lost_area_um2=area_um2,
        layer=judged.layer,
        reasons=(judged.reason,),
    )
    return Draft(particle=particle, shadow=shadow, factors=factors)


def is_clear(spot: MeasuredSpot) -> bool:
    """Whether a mark moves light rather than takes it: bright and dark nearly balance."""
    return spot.gain_ratio >= CLEAR_GAIN


def size_clear(spot: MeasuredSpot, view: View, area_um2: float) -> Draft:
    """Draft a clear drop by its dark part; no particle takes that light, so it has no size.

    Parameters
    ----------
    spot : MeasuredSpot
        A mark that `is_clear`.
    view : View
        The optics of the shot.
    area_um2 : float
        What light it takes all the same [um2].
    """
    width_um = spot.width_px * view.pitch_um
    shadow = _speck(disc_um2(width_um), 1.0, view.tau_um, view)
    if spot.length_px >= RIM_ASPECT * spot.width_px:
        shadow = replace(shadow, shape="strip", length_um=spot.length_px * view.pitch_um)
    particle = Particle(
        length_um=spot.length_px * view.pitch_um,
        lost_area_um2=area_um2,
        layer="filter stack",
        reasons=("it bends light more than it takes, so no size follows from its shadow",),
    )
    return Draft(particle=particle, shadow=shadow, factors=CLEAR_FACTORS)


def _unwindowed_um2(spot: MeasuredSpot, view: View) -> float:
    """Take what a first sum holds too much, its window being too small for the bright ring."""
    measured_um2 = max(spot.lost_area_px2, 0.0) * view.pitch_um**2
    seen = shadows(view.tau_um, view.f_number, view.pitch_um)
    window_um = WINDOW_OF_WIDTH * spot.width_px * view.pitch_um
    within_um2 = np.maximum.accumulate(seen.enclosed_um2(window_um))
    if not within_um2[0] < measured_um2 < within_um2[-1]:
        return measured_um2
    size_um = float(np.interp(measured_um2, within_um2, seen.size_um))
    return min(measured_um2, disc_um2(size_um))


def _speck(area_um2: float, opacity: float, tau_um: float, view: View) -> Shadow:
    return Shadow(
        shape="speck",
        size_um=diameter_um(area_um2 / opacity),
        length_um=None,
        opacity_frac=opacity,
        factor=1.0,
        tau_um=tau_um,
        pitch_um=view.pitch_um,
    )


def _guessed(spot: MeasuredSpot, view: View, area_um2: float) -> Shadow:
    """Find the opacity from width and depth where no fit of the whole shadow is to be had."""
    width_um = spot.width_px * view.pitch_um
    size_um = diameter_um(area_um2)
    solid_um = half_width_um(size_um, view.tau_um, view.f_number, view.pitch_um)
    if width_um > FILM_WIDTHS * solid_um:
        share = max(area_um2 / disc_um2(width_um), spot.depth_frac)
        opacity = float(np.clip(share, FAINTEST, 1.0))
        return _speck(area_um2, opacity, view.tau_um, view)
    opacity = 1.0
    if view.stack.source != "assumed":
        # With an assumed distance too deep a model tells of the distance, not of the speck.
        opacity = _fitting_opacity(spot.depth_frac, area_um2, view)
    return _speck(area_um2, opacity, view.tau_um, view)


def _fitting_opacity(depth_frac: float, area_um2: float, view: View) -> float:
    """Return the opacity with which a speck of the light lost is as deep as measured."""
    curve = depth_curve(view.tau_um, view.f_number, view.pitch_um)
    sizes_um = np.array([diameter_um(area_um2 / opacity) for opacity in OPACITIES])
    depths = np.maximum.accumulate(curve.depth(sizes_um, np.array(OPACITIES)))
    return float(np.interp(depth_frac, depths, OPACITIES))
