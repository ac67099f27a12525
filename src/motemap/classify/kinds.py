"""What a mark is: speck, fibre, droplet, smear - or honestly unsure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.classify.scale import ShadowScale
    from motemap.records import MeasuredSpot, SpotKind

FIBRE_ELONGATION = 2.6
FIBRE_WIDEST_OF_BLUR = 1.6
DROPLET_GAIN = 0.5
"""Bright over dark light: an opaque speck 0.02-0.36, a clear drop near 1 (derived)."""
RING_HOLLOW = 0.5
RING_HOLE = 0.08
"""Share of a mark's inside that is clear, from which it is a ring."""
WIDE_OF_BLUR = 1.5
SEE_THROUGH_FRAC = 0.6
SMEAR_ELONGATION = 2.0
FAINT_SNR = 8.0
ROUND, CLEAR_SNR = 1.25, 40.0
SEE_THROUGH_WIDTHS = 1.35
SEE_THROUGH_EXCESS_PX = 2.2
"""Times as wide as a solid speck of the same light lost; irregular specks reach 1.3 (drawn)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What a mark was taken for, and the numbers that decided."""

    kind: SpotKind
    reasons: tuple[str, ...]


def name_kind(
    spot: MeasuredSpot,
    scale: ShadowScale,
    *,
    depth_frac: float | None = None,
    expected_px: float | None = None,
) -> Kind:
    """Name the kind of a mark.

    Parameters
    ----------
    spot : MeasuredSpot
    scale : ShadowScale
        Bounds of the blur disc.
    depth_frac : float, optional
        Depth of the mark, where that is known better than it was measured (0-1).
    expected_px : float, optional
        Width at half depth of the shadow of an opaque speck that takes as much light [px].
    """
    elongation = spot.length_px / max(spot.width_px, 1e-6)
    blurs = spot.width_px / scale.blur_high_px
    is_see_through = (spot.depth_frac if depth_frac is None else depth_frac) < SEE_THROUGH_FRAC
    named = _by_light(spot, elongation, blurs) or _by_shape(
        elongation, blurs, is_see_through=is_see_through
    )
    if named is not None:
        return named
    widths = 1.0 if expected_px is None else spot.width_px / max(expected_px, 1e-6)
    excess_px = spot.width_px - (spot.width_px if expected_px is None else expected_px)
    is_round = elongation < ROUND and spot.snr > CLEAR_SNR and excess_px > SEE_THROUGH_EXCESS_PX
    if widths > SEE_THROUGH_WIDTHS and is_round and is_see_through:
        reason = (
            f"see-through: {widths:.1f} times as wide as a solid speck that takes as much light"
        )
        return Kind(kind="droplet", reasons=(reason,))
    if spot.snr < FAINT_SNR:
        return Kind(kind="unsure", reasons=("too faint to tell its shape",))
    if spot.is_at_border and elongation > SMEAR_ELONGATION:
        return Kind(kind="unsure", reasons=("cut off by the edge of the picture",))
    return Kind(kind="speck", reasons=("compact and dark",))


def _by_light(spot: MeasuredSpot, elongation: float, blurs: float) -> Kind | None:
    """Name what moves light rather than taking it."""
    if spot.gain_ratio > DROPLET_GAIN:
        return Kind(
            kind="droplet",
            reasons=(f"bright rim or core holds {spot.gain_ratio:.0%} of the light it moves",),
        )
    is_hollow = spot.hollow_frac < RING_HOLLOW and elongation < FIBRE_ELONGATION and blurs > 1
    if is_hollow or spot.hole_frac > RING_HOLE:
        return Kind(kind="droplet", reasons=("a ring with a clear middle, as a dried drop leaves",))
    return None


def _by_shape(elongation: float, blurs: float, *, is_see_through: bool) -> Kind | None:
    """Name what is long, or too wide and see-through for a speck."""
    if elongation >= FIBRE_ELONGATION and blurs <= FIBRE_WIDEST_OF_BLUR:
        return Kind(kind="fibre", reasons=(f"{elongation:.1f} times as long as wide",))
    if blurs > WIDE_OF_BLUR and is_see_through:
        if elongation > SMEAR_ELONGATION:
            return Kind(kind="smear", reasons=("wide, long and see-through",))
        return Kind(kind="droplet", reasons=("wide, round and see-through",))
    return None
