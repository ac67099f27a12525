"""Fibres: their depth falls with N, not with N squared, so they keep a law of their own."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.waves import depth_curve, shadows
from motemap.particle.forecast import Shadow
from motemap.particle.record import Particle
from motemap.particle.view import View, size_range

if TYPE_CHECKING:
    from motemap.records import MeasuredSpot

FIBRE_ASPECT = 3.0
FIBRE_SPREAD = 0.2
FILM_WIDTHS = 1.5
"""Times wider than a thin fibre's shadow from which on a long mark counts as a film."""
FACTOR_RANGE = (0.5, 2.0)
FAINTEST = 0.01
"""Least opacity reckoned with."""


def is_long(spot: MeasuredSpot) -> bool:
    """Whether a mark is so long that it fades like a fibre."""
    return spot.length_px >= FIBRE_ASPECT * spot.width_px


def size_fibre(spot: MeasuredSpot, view: View) -> Particle:
    """Return a fibre's width and length, opaque-equivalent, and what its forecast is made from.

    Parameters
    ----------
    spot : MeasuredSpot
        A long mark.
    view : View
        The optics of the shot.
    """
    length_um = spot.length_px * view.pitch_um
    width_um = _width_um(spot, view, length_um)
    seen_um = spot.width_px * view.pitch_um
    thin = shadows(view.tau_um, view.f_number, view.pitch_um, "strip")
    is_film = seen_um > FILM_WIDTHS * thin.half_width_um(width_um)
    opacity = 1.0
    if is_film:
        opacity = float(np.clip(max(width_um / seen_um, spot.depth_frac), FAINTEST, 1.0))
    shadow = Shadow(
        shape="strip",
        size_um=width_um / opacity,
        length_um=length_um,
        opacity_frac=opacity,
        factor=1.0,
        tau_um=view.tau_um,
        pitch_um=view.pitch_um,
    )
    factor = spot.depth_frac / max(shadow.depth_frac(view.f_number), np.finfo(np.float64).tiny)
    return Particle(
        particle_um=width_um,
        particle_um_range=size_range(width_um, FIBRE_SPREAD),
        length_um=length_um,
        lost_area_um2=width_um * length_um,
        depth_frac=spot.depth_frac,
        layer="unsure" if is_film else "filter stack",
        shadow=replace(shadow, factor=float(np.clip(factor, *FACTOR_RANGE))),
        reasons=(
            "wider than the shadow of a fibre"
            if is_film
            else "as wide as the shadow of a fibre on the filter stack",
        ),
    )


def _width_um(spot: MeasuredSpot, view: View, length_um: float) -> float:
    """Return the width from the light lost per length and, where it tells, from the depth."""
    by_area_um = max(spot.lost_area_px2, 0.0) * view.pitch_um**2 / length_um
    curve = depth_curve(view.tau_um, view.f_number, view.pitch_um, "strip")
    filled = min(1.0, length_um / view.blur_um)
    by_depth_um = float(curve.size_for(spot.depth_frac / filled))
    if by_area_um <= 0:
        return min(by_depth_um, spot.width_px * view.pitch_um)
    if by_depth_um > view.blur_um:
        return by_area_um
    return math.sqrt(by_area_um * by_depth_um)
