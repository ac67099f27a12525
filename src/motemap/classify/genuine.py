"""Tell shadows from artefacts by what optics allows.

A shadow from the filter stack is at least half a blur disc wide, and its flanks are no softer
than the blur disc makes them (measured on drawn frames: width 0.5 and more, flank 0.95 and less,
in blur-disc diameters). Contour rings, mottling and defects break one of the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from motemap.classify.scale import ShadowScale
    from motemap.records import MeasuredSpot

Origin = Literal["mark", "soft", "artefact"]

NARROWEST_OF_BLUR = 0.44
FAINT_NARROWEST_OF_BLUR = 0.55
NARROWEST_PX = 3.0
"""A defect that a camera's own processing has smeared over its neighbours is so wide."""
CLEAR_SIGNIFICANCE = 9.0
STUCK_SIGNIFICANCE = 9.0
STUCK_NARROWEST_OF_BLUR = 0.5
SOFTEST_OF_BLUR = 1.1
FAINT_FRAC = 0.03
SOFTEST_OF_WIDTH = 1.4
"""A shadow's flank is about 0.9 of its width; noise that happens to add up has no flank."""
FIBRE_ELONGATION = 2.5
CLEAR_SNR = 25.0
STUCK_STEPS = 2.5
ROUND_ELONGATION = 2.0
HARD_FRAC = 0.25
"""So deep a mark is real whatever its flanks: nothing but dirt takes a quarter of the light."""


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
    elongation = spot.length_px / max(spot.width_px, 1e-6)
    if _is_too_sharp(spot, scale):
        return Origins(origin="artefact", reason="sharper than any shadow can be")
    is_stuck = floor_frac > 0 and spot.depth_frac < STUCK_STEPS * floor_frac
    if is_stuck and not _stands_out(spot, scale, elongation, floor_frac):
        return Origins(origin="artefact", reason="a contour ring of coarse codes")
    if spot.depth_frac < FAINT_FRAC and elongation > FIBRE_ELONGATION and _is_unclear(spot):
        return Origins(origin="artefact", reason="a faint line, not a fibre")
    is_faint = spot.depth_frac < FAINT_FRAC or spot.significance < CLEAR_SIGNIFICANCE
    if is_faint and spot.edge_px > SOFTEST_OF_WIDTH * spot.width_px:
        return Origins(origin="artefact", reason="softer than it is wide")
    is_soft = spot.edge_px > SOFTEST_OF_BLUR * scale.blur_high_px
    if is_soft and spot.depth_frac < HARD_FRAC:
        return Origins(origin="soft", reason="softer than any shadow from the filter stack")
    return Origins(origin="mark")


def _is_too_sharp(spot: MeasuredSpot, scale: ShadowScale) -> bool:
    """Tell what is left of hot and dead pixels: narrower than the blur of any dust."""
    narrowest_px = max(NARROWEST_PX, NARROWEST_OF_BLUR * scale.blur_low_px)
    if spot.significance < CLEAR_SIGNIFICANCE:
        narrowest_px = max(narrowest_px, FAINT_NARROWEST_OF_BLUR * scale.blur_usual_px)
    is_cut = spot.is_at_border or spot.has_neighbour
    return (spot.length_px if is_cut else spot.width_px) < narrowest_px


def _is_unclear(spot: MeasuredSpot) -> bool:
    return spot.snr < CLEAR_SNR or spot.significance < CLEAR_SIGNIFICANCE


def _stands_out(
    spot: MeasuredSpot, scale: ShadowScale, elongation: float, floor_frac: float
) -> bool:
    """Tell a faint shadow among contour rings: compact, as wide as it must be, and clear."""
    return (
        elongation <= ROUND_ELONGATION
        and spot.depth_frac >= floor_frac
        and spot.width_px >= STUCK_NARROWEST_OF_BLUR * scale.blur_usual_px
        and spot.significance >= STUCK_SIGNIFICANCE
    )
