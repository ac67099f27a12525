"""On which surface a mark lies, from how wide and how soft its shadow is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.widths import half_widths_um

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.particle.record import LostLight
    from motemap.particle.view import View
    from motemap.records import Layer, MeasuredSpot

LENS_MM = 4.5
"""f-number times width from which on nothing on a filter stack can throw the shadow: the
thickest stacks are about 4 mm of glass (R. Cicala, LensRentals 2014), 3 mm air-equivalent."""
LENS_WIDTHS = 2.2
"""Times wider than a stack speck of the same light lost: those reach 1.3 on drawn frames."""
SURE_LENS_MM = 10.0
SURE_LENS_WIDTHS = 1.25
SURE_LENS_DEPTH_FRAC = 0.4
"""So wide a mark need be less out of proportion, if it is too faint for a flake on the stack."""
LENS_EDGE_OF_BLUR = 1.6
"""Softness of the rim in blur discs: stack specks reach 1.4 on drawn frames, lens dust 2.2."""
LENS_ASPECT = 1.8
SHARP_WIDTHS = 0.8
SHARP_MISFIT = 6.0
"""Misfit of a shadow sharper than the stack allows: stack specks reach 2, inside ones 36."""
SHARP_ALONE_WIDTHS = 0.35
SHARP_SNR = 25.0
SMALLEST_SHARP_PX = 2.0
"""Narrower marks may be pixel defects."""
WIDE_WIDTHS = 1.8
SHARP_OF_BLUR = 1.5
"""A particle wider than so many blur discs has the rim of its own outline: it tells nothing."""
SPREAD_SIGMAS = 2.0
SMALLEST_UM = 1.0
"""Below this size the width of a shadow no longer depends on it [um]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A layer, and why."""

    layer: Layer
    reason: str


TOO_WIDE = Judged(layer="unsure", reason="far wider than a speck on the filter stack")
INSIDE = Judged(layer="inside", reason="sharper than any shadow from the filter stack")
UNFIT = Judged(layer="unsure", reason="its width does not fit a speck on the filter stack")
ON_STACK = Judged(layer="filter stack", reason="as wide as dust on the filter stack throws it")


def judge_layer(
    spot: MeasuredSpot, particle_um: float, light: LostLight | None, view: View
) -> Judged:
    """Tell dust on the filter stack from dust on the lens and from marks inside.

    Parameters
    ----------
    spot : MeasuredSpot
        The mark.
    particle_um : float
        Diameter of the opaque speck that takes as much light [um].
    light : LostLight or None
        How well the shadow of a speck on the stack fits the mark.
    view : View
        The optics of the shot; an assumed stack makes the judgement cautious.
    """
    return judge_layers([spot], [particle_um], [light], view)[0]


def judge_layers(
    spots: Sequence[MeasuredSpot],
    particles_um: Sequence[float],
    lights: Sequence[LostLight | None],
    view: View,
) -> list[Judged]:
    """Do the same for many marks of a frame, whose widths are looked up together."""
    reach_um = SPREAD_SIGMAS * UM_PER_MM * (view.stack.uncertainty_mm or 0.0)
    near_um, far_um = max(view.tau_um - reach_um, view.tau_um / 4), view.tau_um + reach_um
    # A clear drop takes no light at all, yet its shadow has a width.
    sizes_um = np.maximum(particles_um, SMALLEST_UM)
    narrowest, widest = (
        half_widths_um(sizes_um, tau_um, view.f_number, view.pitch_um).tolist()
        for tau_um in (near_um, far_um)
    )
    sharp_um = SHARP_OF_BLUR * near_um / view.f_number
    judged = []
    for spot, particle_um, light, narrowest_um, widest_um in zip(
        spots, particles_um, lights, narrowest, widest, strict=True
    ):
        width_um = spot.width_px * view.pitch_um
        seen_mm = view.f_number * width_um / UM_PER_MM
        if _is_far(spot, width_um / widest_um, seen_mm):
            judged.append(_far(seen_mm) if _is_soft_disc(spot, far_um, view) else TOO_WIDE)
        elif particle_um <= sharp_um and _is_sharp(spot, width_um / narrowest_um, light, view):
            judged.append(INSIDE)
        elif width_um > WIDE_WIDTHS * widest_um or width_um < SHARP_ALONE_WIDTHS * narrowest_um:
            judged.append(UNFIT)
        else:
            judged.append(ON_STACK)
    return judged


def _far(seen_mm: float) -> Judged:
    reason = f"its shadow points to dust about {seen_mm:.0f} mm from the sensor"
    return Judged(layer="lens side", reason=reason)


def _is_far(spot: MeasuredSpot, widths: float, seen_mm: float) -> bool:
    if widths > LENS_WIDTHS and seen_mm > LENS_MM:
        return True
    is_faint = spot.depth_frac < SURE_LENS_DEPTH_FRAC
    return is_faint and widths > SURE_LENS_WIDTHS and seen_mm > SURE_LENS_MM


def _is_soft_disc(spot: MeasuredSpot, far_um: float, view: View) -> bool:
    is_soft = spot.edge_px * view.pitch_um > LENS_EDGE_OF_BLUR * far_um / view.f_number
    return is_soft and spot.length_px <= LENS_ASPECT * spot.width_px


def _is_sharp(spot: MeasuredSpot, widths: float, light: LostLight | None, view: View) -> bool:
    if spot.snr < SHARP_SNR or spot.width_px < SMALLEST_SHARP_PX:
        return False
    if light is None or view.stack.source == "assumed":
        return widths < SHARP_ALONE_WIDTHS
    return widths < SHARP_WIDTHS and light.misfit > SHARP_MISFIT
