"""Fibres: their depth falls with N, not with N squared, so they keep a law of their own."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.depths import OPACITIES, depth_curve
from motemap.optics.waves import shadows
from motemap.optics.widths import half_width_um
from motemap.particle.forecast import Shadow
from motemap.particle.record import Draft, Particle
from motemap.particle.view import View, size_range

if TYPE_CHECKING:
    from motemap.records import MeasuredSpot

FIBRE_ASPECT = 3.0
FIBRE_SPREAD = 0.15
"""Error of a width: the window of the sum, the ends, the opacity; from drawn frames."""
WINDOW_OF_WIDTH = 1.5
"""Distance from the axis, in widths, out to which the light lost was summed."""
FILM_WIDTHS = 1.5
"""Times wider than a thin fibre's shadow from which on a long mark counts as a film."""
FACTOR_RANGE = (0.3, 1.2)
FAINTEST = 0.01
"""Least opacity reckoned with."""


def is_long(spot: MeasuredSpot) -> bool:
    """Whether a mark is so long that it fades like a fibre."""
    return spot.length_px >= FIBRE_ASPECT * spot.width_px


def size_fibre(spot: MeasuredSpot, view: View) -> Draft:
    """Draft a fibre: its width and length, opaque-equivalent, and what its forecast is made from.

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
    thin_um = half_width_um(width_um, view.tau_um, view.f_number, view.pitch_um, "strip")
    is_film = seen_um > FILM_WIDTHS * thin_um
    opacity = _film_opacity(spot, width_um / seen_um) if is_film else _opacity(spot, width_um, view)
    shadow = Shadow(
        shape="strip",
        size_um=width_um / opacity,
        length_um=length_um,
        opacity_frac=opacity,
        factor=1.0,
        tau_um=view.tau_um,
        pitch_um=view.pitch_um,
    )
    reason = "as wide as the shadow of a fibre on the filter stack"
    particle = Particle(
        particle_um=width_um,
        particle_um_range=size_range(width_um, FIBRE_SPREAD),
        length_um=length_um,
        lost_area_um2=width_um * length_um,
        depth_frac=spot.depth_frac,
        layer="unsure" if is_film else "filter stack",
        reasons=("wider than the shadow of a fibre" if is_film else reason,),
    )
    return Draft(particle=particle, shadow=shadow, factors=FACTOR_RANGE)


def _width_um(spot: MeasuredSpot, view: View, length_um: float) -> float:
    """Return the width from the light lost per length.

    An opaque fibre throws part of the light so far that the sum misses it and reads too wide,
    one that lets light pass hardly does: the middle between both is taken.
    """
    seen = shadows(view.tau_um, view.f_number, view.pitch_um, "strip")
    summed_um = max(spot.lost_area_px2, 0.0) * view.pitch_um**2 / length_um
    window_um = WINDOW_OF_WIDTH * spot.width_px * view.pitch_um
    within_um = np.maximum.accumulate(seen.enclosed_um2(window_um))
    if not within_um[0] < summed_um < within_um[-1]:
        return summed_um
    opaque_um = float(np.interp(summed_um, within_um, seen.size_um))
    return math.sqrt(summed_um * min(opaque_um, summed_um))


def _film_opacity(spot: MeasuredSpot, filled: float) -> float:
    return float(np.clip(max(filled, spot.depth_frac), FAINTEST, 1.0))


def _opacity(spot: MeasuredSpot, width_um: float, view: View) -> float:
    """Return the opacity with which a fibre that takes this light is as deep as measured."""
    if view.stack.source == "assumed":
        return 1.0
    curve = depth_curve(view.tau_um, view.f_number, view.pitch_um, "strip")
    opacities = np.array(OPACITIES)
    depths = np.maximum.accumulate(curve.depth(width_um / opacities, opacities))
    return float(np.interp(spot.depth_frac, depths, opacities))
