"""Tell shadows from artefacts by what optics allows.

A shadow from the filter stack is at least half a blur disc wide, and its flanks are no softer
than the blur disc makes them (measured on drawn frames: width 0.5 and more, flank 0.95 and less,
in blur-disc diameters). Contour rings, mottling and defects break one of the two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from motemap.classify.scale import ShadowScale
    from motemap.records import MeasuredSpot

Origin = Literal["mark", "soft", "artefact"]

SHARPEST_OF_SEEN, SMOOTHING_OF_BLUR = 0.5, 0.55
"""Smoothing is taken out of a flank no further than to this share, and no more of it than this
share of the smallest usual blur disc: what is smoothed further is wide, and no faint shadow."""
NARROWEST_OF_BLUR, FINE_NARROWEST_OF_BLUR = 0.44, 0.37
FAINT_NARROWEST_OF_BLUR = 0.55
NARROWEST_PX, SMALLEST_PX, FINE_SMALLEST_PX = 1.9, 1.5, 1.1
DROP_GAIN = 0.5
DROP_RING_PX, DROP_RING_BLURS = 25.0, 2.0
DEFECT_PX = 3.0
"""A defect that a camera's own processing has smeared over its neighbours is so wide."""
CODED_DEFECT_PX = 4.0
"""A faint one so wide, where coarse codes and compression have worn it down."""
CLEAR_SIGNIFICANCE = 9.0
CERTAIN_SIGNIFICANCE = 13.0
"""What is left of a defect after loading never stands out like this."""
INSIDE_NARROWEST_PX = 3.5
FRAYED_ELONGATION = 3.5
FRAYED_LENGTH_OF_BLUR = 1.9
"""Noise draws the outline of a faint speck out to no more than this (drawn frames: 1.75)."""
SOFTEST_OF_BLUR = 1.1
WIDE_BLURS, WIDE_SOFTEST_OF_BLUR = 2.0, 0.95
"""The flank of a faint mark as wide as this is known well; no shadow's is softer."""
SMALL_OF_BLUR = 1.3
"""A bell shorter than so many blur discs has a flank of less than one (derived: 0.7 of its width)."""
FAINT_FRAC = 0.03
SOFTEST_OF_WIDTH, FINE_SOFTEST_OF_WIDTH = 1.4, 2.2
"""A shadow's flank is about 0.9 of its width; what adds up by chance or on a slope has none. With
fine codes, away from the border, noise alone blurs the two."""
FIBRE_ELONGATION = 2.8
CLEAR_SNR = 25.0
ROUND_ELONGATION = 2.0
STUCK_STEPS, STUCK_CLEAR_STEPS, STUCK_SEEN_STEPS = 2.5, 1.4, 1.2
STUCK_SIGNIFICANCE = 9.0
STUCK_NARROWEST_OF_BLUR = 0.5
DOME_FRAC, DOME_BLURS = 0.04, 3.5
"""A round dip as deep as this is dirt, a dirty drop with a soft flank; uneven light is fainter."""
HARD_FRAC, HARD_BLURS = 0.25, 2.0
"""A long dip as deep as this is dirt although its flank is soft, as where two marks meet; a
flank softer still belongs to a dark corner."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Origins:
    """What a dip comes from, and why it was not taken for a mark."""

    origin: Origin
    reason: str | None = None


def judge_origin(spot: MeasuredSpot, scale: ShadowScale, floor_frac: float) -> Origins:
    """Decide whether a dip is a mark, a soft shadow from far away, or an artefact.

    Parameters
    ----------
    spot : MeasuredSpot
    scale : ShadowScale
    floor_frac : float
        Depth that coarse codes can feign at this place; 0 with fine codes.
    """
    if _is_bright_inside(spot, scale):
        return Origins(origin="mark")
    elongation = spot.length_px / max(spot.width_px, 1e-6)
    flank_px = sharp_flank(spot, scale)
    reason = _artefact_reason(spot, scale, elongation, floor_frac)
    if reason is not None:
        return Origins(origin="artefact", reason=reason)
    is_wide = spot.width_px > WIDE_BLURS * scale.blur_high_px and spot.depth_frac < FAINT_FRAC
    most = WIDE_SOFTEST_OF_BLUR if is_wide else SOFTEST_OF_BLUR
    is_soft = _is_soft(spot, elongation, flank_px / scale.blur_high_px, most)
    if is_soft and not _is_small(spot, scale):
        return Origins(origin="soft", reason="softer than any shadow from the filter stack")
    return Origins(origin="mark")


def sharp_flank(spot: MeasuredSpot, scale: ShadowScale) -> float:
    """Return how soft a mark's flank is without the smoothing under which it was seen [px].

    Depth over steepest slope of a bell of sigma s is ``sqrt(e) s``, and variances add (derived).
    """
    sigma_px = min(spot.blur_sigma_px, SMOOTHING_OF_BLUR * scale.blur_usual_px)
    sharpest_px = SHARPEST_OF_SEEN * spot.edge_px
    return math.sqrt(max(spot.edge_px**2 - math.e * sigma_px**2, sharpest_px**2))


def _artefact_reason(
    spot: MeasuredSpot, scale: ShadowScale, elongation: float, floor_frac: float
) -> str | None:
    """Return why a dip is no shadow at all; None when it may be one."""
    if spot.depth_frac <= 0 or _is_too_sharp(spot, scale, floor_frac):
        return "sharper than any shadow can be"
    is_stuck = floor_frac > 0 and spot.depth_frac < STUCK_STEPS * floor_frac
    if is_stuck and not _stands_out(spot, scale, elongation, floor_frac):
        return "a contour ring of coarse codes"
    is_line = elongation > FIBRE_ELONGATION and not _is_frayed(spot, scale)
    if spot.depth_frac < FAINT_FRAC and is_line and _is_unclear(spot):
        return "a faint line, not a fibre"
    is_faint = spot.depth_frac < FAINT_FRAC or spot.significance < CLEAR_SIGNIFICANCE
    if is_faint and _has_no_flank(spot, scale, floor_frac):
        return "softer than it is wide"
    return None


def _is_bright_inside(spot: MeasuredSpot, scale: ShadowScale) -> bool:
    """Tell a clear drop: a thin dark ring round light that it gathers, too large for a defect.

    What lies beside a soft disc cut by the border looks bright, too, but has no sharp flank.
    """
    return (
        spot.gain_ratio > DROP_GAIN
        and spot.edge_px <= SOFTEST_OF_BLUR * scale.blur_high_px
        and spot.significance >= CLEAR_SIGNIFICANCE
        and spot.length_px > max(DROP_RING_PX, DROP_RING_BLURS * scale.blur_low_px)
    )


def _is_soft(spot: MeasuredSpot, elongation: float, blurs: float, most: float) -> bool:
    """Tell what has a softer flank than dust on the stack, in blur discs, and is not deep dirt."""
    if blurs <= most:
        return False
    if elongation <= ROUND_ELONGATION:
        return spot.depth_frac < DOME_FRAC or blurs > DOME_BLURS
    return spot.depth_frac < HARD_FRAC or blurs > HARD_BLURS


def _is_small(spot: MeasuredSpot, scale: ShadowScale) -> bool:
    """Tell a faint mark too small for a shadow from far away: noise alone has made it soft."""
    return (
        spot.significance < CERTAIN_SIGNIFICANCE
        and spot.length_px < SMALL_OF_BLUR * scale.blur_high_px
        and not spot.is_at_border
    )


def _is_too_sharp(spot: MeasuredSpot, scale: ShadowScale, floor_frac: float) -> bool:
    """Tell what is left of hot and dead pixels: narrower than the blur of any dust."""
    is_fine = floor_frac <= 0
    share = FINE_NARROWEST_OF_BLUR if is_fine else NARROWEST_OF_BLUR
    narrowest_px = share * scale.blur_low_px
    if spot.significance < CERTAIN_SIGNIFICANCE:
        narrowest_px = max(narrowest_px, _defect_px(spot, scale, floor_frac))
        return _unfrayed_width(spot, scale) < narrowest_px
    # Dirt beneath the glass is as sharp, but never as small as a defect.
    fine_px = FINE_SMALLEST_PX if is_fine else SMALLEST_PX
    smallest_px = fine_px if scale.is_measured else NARROWEST_PX
    seen_px = spot.length_px if spot.is_at_border or spot.has_neighbour else spot.width_px
    return seen_px < max(min(narrowest_px, INSIDE_NARROWEST_PX), smallest_px)


def _defect_px(spot: MeasuredSpot, scale: ShadowScale, floor_frac: float) -> float:
    """Return how wide a mark has to be lest it be a defect [px]."""
    if scale.is_measured and floor_frac <= 0:
        # With fine codes loading takes defects out whole.
        return SMALLEST_PX
    widest_px = NARROWEST_PX if scale.is_measured else DEFECT_PX
    if spot.significance >= CLEAR_SIGNIFICANCE:
        return widest_px
    if floor_frac > 0 and not scale.is_measured:
        widest_px = CODED_DEFECT_PX
    return max(widest_px, FAINT_NARROWEST_OF_BLUR * scale.blur_usual_px)


def _unfrayed_width(spot: MeasuredSpot, scale: ShadowScale) -> float:
    """Return a mark's width; noise frays a faint outline, long here, thin there: the area holds."""
    is_faint = spot.significance < CLEAR_SIGNIFICANCE
    is_compact = spot.length_px < FRAYED_ELONGATION * spot.width_px
    if (is_faint and is_compact) or _is_frayed(spot, scale):
        return math.sqrt(spot.width_px * spot.length_px)
    return spot.length_px if spot.is_at_border else spot.width_px


def _has_no_flank(spot: MeasuredSpot, scale: ShadowScale, floor_frac: float) -> bool:
    """Tell noise that happens to add up, and slopes along a border, from a shadow.

    A flank no softer than the blur disc is that of a shadow, however narrow noise has made it.
    """
    if spot.is_at_border:
        return spot.edge_px > SOFTEST_OF_WIDTH * spot.width_px
    most = SOFTEST_OF_WIDTH if floor_frac > 0 else FINE_SOFTEST_OF_WIDTH
    return sharp_flank(spot, scale) > max(most * spot.width_px, scale.blur_low_px)


def _is_frayed(spot: MeasuredSpot, scale: ShadowScale) -> bool:
    """Tell a faint shadow whose outline noise has frayed: as large as a speck's, and no longer."""
    return (
        spot.length_px < FRAYED_LENGTH_OF_BLUR * scale.blur_low_px
        and math.sqrt(spot.width_px * spot.length_px)
        >= FAINT_NARROWEST_OF_BLUR * scale.blur_usual_px
    )


def _is_unclear(spot: MeasuredSpot) -> bool:
    return spot.snr < CLEAR_SNR or spot.significance < CLEAR_SIGNIFICANCE


def _stands_out(
    spot: MeasuredSpot, scale: ShadowScale, elongation: float, floor_frac: float
) -> bool:
    """Tell a faint shadow among contour rings: compact, as wide as it must be, and clear."""
    return (
        elongation <= ROUND_ELONGATION
        and spot.seen_depth_frac >= STUCK_SEEN_STEPS * floor_frac
        and spot.width_px >= STUCK_NARROWEST_OF_BLUR * scale.blur_usual_px
        and (
            spot.significance >= STUCK_SIGNIFICANCE
            or spot.seen_depth_frac >= STUCK_CLEAR_STEPS * floor_frac
        )
    )
