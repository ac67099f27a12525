"""On which surface marks lie, from how wide and how soft their shadows are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.lens import deepest_on_lens_frac
from motemap.optics.widths import half_widths_um

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.shot_optics import ShotOptics
    from motemap.records import MeasuredSpots

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
"""Length over width of lens dust at most: its shadow has the shape of the pupil, which is round."""
SHARP_WIDTHS = 0.8
"""Width over that of the narrowest stack shadow, below which a bad fit speaks for a mark inside."""
SHARP_MISFIT = 6.0
"""Misfit of a shadow sharper than the stack allows: stack specks reach 2, inside ones 36."""
SHARP_ALONE_WIDTHS = 0.35
"""The same where there is no fit to ask, or none that can be trusted: the width alone has to
tell."""
SHARP_SNR = 25.0
"""Width and fit of fainter marks are too unsure for that; a choice, not measured."""
SMALLEST_SHARP_PX = 2.0
"""Narrower marks may be pixel defects."""
WIDE_WIDTHS = 1.8
"""Width over that of the widest stack shadow, beyond which no layer is named; a choice."""
SHARP_OF_BLUR = 1.5
"""A particle wider than so many blur discs has the rim of its own outline: it tells nothing."""
SPREAD_SIGMAS = 2.0
"""Standard errors by which the distance of the stack may be off before a layer is doubted."""
SMALLEST_UM = 1.0
"""Below this size the width of a shadow no longer depends on it [um]."""


LENS = ("lens side", "its shadow points to dust about {:.0f} mm from the sensor")
TOO_WIDE = ("unsure", "far wider than a speck on the filter stack")
INSIDE = ("inside", "sharper than any shadow from the filter stack")
UNFIT = ("unsure", "its width does not fit a speck on the filter stack")
ON_STACK = ("filter stack", "as wide as dust on the filter stack throws it")
"""What is said: layer and reason."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JudgedLayers:
    """The layer of each of n marks, and why; (n,) object."""

    layer: NDArray[np.object_]
    reason: NDArray[np.object_]


def judge_layers(
    spots: MeasuredSpots,
    particle_um: NDArray[np.float64],
    misfit: NDArray[np.float64],
    optics: ShotOptics,
) -> JudgedLayers:
    """Tell dust on the filter stack from dust on the lens and from marks inside.

    Parameters
    ----------
    spots : MeasuredSpots
        The marks.
    particle_um : (n,) float64
        Diameter of the opaque speck that takes as much light as each [um].
    misfit : (n,) float64
        How badly the shadow of a speck on the stack fits each, as in `LostLight`; NaN where its
        light was not measured.
    optics : ShotOptics
        The optics of the shot; an assumed stack makes the judgement cautious.
    """
    reach_um = SPREAD_SIGMAS * UM_PER_MM * (optics.stack.uncertainty_mm or 0.0)
    near_um, far_um = max(optics.tau_um - reach_um, optics.tau_um / 4), optics.tau_um + reach_um
    # A clear drop takes no light at all, yet its shadow has a width.
    sizes_um = np.maximum(particle_um, SMALLEST_UM)
    narrowest_um, widest_um = (
        half_widths_um(sizes_um, tau_um, optics.f_number, optics.pitch_um)
        for tau_um in (near_um, far_um)
    )
    width_um = spots.width_px * optics.pitch_um
    seen_mm = optics.f_number * width_um / UM_PER_MM
    is_far = _are_far(spots, width_um / widest_um, seen_mm)
    is_on_lens = is_far & _are_soft_discs(spots, far_um, optics)
    is_small = particle_um <= SHARP_OF_BLUR * near_um / optics.f_number
    # What a shadow is held against is round. The edge of the picture makes one narrow across, but
    # leaves it as wide along the edge; a long grain's is as narrow across as that of a smaller one.
    even_px = np.sqrt(spots.width_px * spots.length_px)
    whole_um = np.where(spots.is_at_border, spots.length_px, even_px) * optics.pitch_um
    is_inside = is_small & _are_sharp(spots, whole_um / narrowest_um, misfit, optics)
    is_unfit = (width_um > WIDE_WIDTHS * widest_um) | (whole_um < SHARP_ALONE_WIDTHS * narrowest_um)
    # The first that holds is said.
    tests = (
        (LENS, is_on_lens),
        (TOO_WIDE, is_far),
        (INSIDE, is_inside),
        (UNFIT, is_unfit),
        (ON_STACK, np.ones(len(spots), np.bool_)),
    )
    which = np.argmax([holds for _, holds in tests], axis=0)
    layer, reason = np.array([said for said, _ in tests], np.object_)[which].T
    reason[is_on_lens] = [LENS[1].format(mm) for mm in seen_mm[is_on_lens].tolist()]
    return JudgedLayers(layer=layer, reason=reason)


def _are_far(
    spots: MeasuredSpots, widths: NDArray[np.float64], seen_mm: NDArray[np.float64]
) -> NDArray[np.bool_]:
    is_wide = (widths > LENS_WIDTHS) & (seen_mm > LENS_MM)
    is_faint = spots.depth_frac < SURE_LENS_DEPTH_FRAC
    return is_wide | (is_faint & (widths > SURE_LENS_WIDTHS) & (seen_mm > SURE_LENS_MM))


def _are_soft_discs(spots: MeasuredSpots, far_um: float, optics: ShotOptics) -> NDArray[np.bool_]:
    width_um, flank_um = spots.width_px * optics.pitch_um, spots.edge_px * optics.pitch_um
    is_soft = flank_um > LENS_EDGE_OF_BLUR * far_um / optics.f_number
    is_possible = spots.depth_frac <= deepest_on_lens_frac(width_um, flank_um, optics.f_number)
    return is_soft & is_possible & (spots.length_px <= LENS_ASPECT * spots.width_px)


def _are_sharp(
    spots: MeasuredSpots,
    widths: NDArray[np.float64],
    misfit: NDArray[np.float64],
    optics: ShotOptics,
) -> NDArray[np.bool_]:
    is_clear = (spots.snr >= SHARP_SNR) & (spots.width_px >= SMALLEST_SHARP_PX)
    by_width = widths < SHARP_ALONE_WIDTHS
    if optics.stack.source == "assumed":
        return is_clear & by_width
    by_fit = (widths < SHARP_WIDTHS) & (misfit > SHARP_MISFIT)
    return is_clear & np.where(np.isnan(misfit), by_width, by_fit)
