"""What marks are: speck, fibre, droplet, smear - or honestly unsure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.classify.scale import ShadowScale
    from motemap.records import MeasuredSpots

FIBRE_WIDEST_OF_BLUR = 1.6
"""Widest shadow of a fibre, in blur discs of the thickest stack: wider ones are smears."""
RING_HOLLOW = 0.5
"""Depth in the middle over the largest, below which a mark is a ring."""
WIDE_OF_BLUR = 1.5
"""Width from which a mark is a film if it is see-through, in blur discs of the thickest stack."""
SEE_THROUGH_FRAC = 0.6
"""Depth of the deepest film; solid dirt that wide takes nearly all light."""
SMEAR_ELONGATION = 2.0
"""Length over width from which a film is a smear, not a drop."""
FAINT_SNR = 8.0
"""Little more than the search asks: no shape is told from so little."""
ROUND, CLEAR_SNR = 1.25, 40.0
"""Length over width, and signal to noise, with which a width may be held against that of a solid
speck."""
SEE_THROUGH_WIDTHS = 1.35
SEE_THROUGH_EXCESS_PX = 2.2
"""Times as wide as a solid speck of the same light lost; irregular specks reach 1.3 (drawn)."""
LEAST_PX = 1e-6
"""No width is taken for less."""


BRIGHT = ("droplet", "bright rim or core holds {:.0f} % of the light it moves")
RING = ("droplet", "a ring with a clear middle, as a dried drop leaves")
FIBRE = ("fibre", "{:.1f} times as long as wide")
SMEAR = ("smear", "wide, long and see-through")
FILM = ("droplet", "wide, round and see-through")
THIN = ("droplet", "see-through: {:.1f} times as wide as a solid speck that takes as much light")
FAINT = ("unsure", "too faint to tell its shape")
CUT_OFF = ("unsure", "cut off by the edge of the picture")
SPECK = ("speck", "compact and dark")
"""What is said: kind and reason, some of them with a number."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kinds:
    """What n marks were taken for, and why; (n,) object."""

    kind: NDArray[np.object_]
    reason: NDArray[np.object_]


def name_kinds(
    spots: MeasuredSpots,
    scale: ShadowScale,
    depth_frac: NDArray[np.float64],
    expected_px: NDArray[np.float64],
    is_cut: NDArray[np.bool_],
) -> Kinds:
    """Name the kinds of marks.

    Parameters
    ----------
    spots : MeasuredSpots
    scale : ShadowScale
        Bounds of the blur disc.
    depth_frac : (n,) float64
        Depth of each mark, as well as it is known (0-1).
    expected_px : (n,) float64
        Width at half depth of the shadow of an opaque speck that takes as much light [px]; NaN
        where it is unknown.
    is_cut : (n,) bool
        Whether the edge of the picture hides the middle of each mark.
    """
    width_px = spots.width_px
    elongation = spots.length_px / np.maximum(width_px, LEAST_PX)
    is_long = spots.are_long()
    blurs = width_px / scale.blur_high_px
    is_see_through = depth_frac < SEE_THROUGH_FRAC
    is_hollow = (spots.hollow_frac < RING_HOLLOW) & ~is_long & (blurs > 1)
    is_film = (blurs > WIDE_OF_BLUR) & is_see_through
    widths = width_px / np.maximum(expected_px, LEAST_PX)
    is_round = (elongation < ROUND) & (spots.snr > CLEAR_SNR)
    is_wide = (widths > SEE_THROUGH_WIDTHS) & (width_px - expected_px > SEE_THROUGH_EXCESS_PX)
    # The first that holds is said.
    tests = (
        (BRIGHT, spots.are_clear()),
        (RING, is_hollow | spots.are_rings()),
        (CUT_OFF, is_cut),
        (FIBRE, is_long & (blurs <= FIBRE_WIDEST_OF_BLUR)),
        (SMEAR, is_film & (elongation > SMEAR_ELONGATION)),
        (FILM, is_film),
        (THIN, is_wide & is_round & is_see_through),
        (FAINT, spots.snr < FAINT_SNR),
        (CUT_OFF, spots.is_at_border & (elongation > SMEAR_ELONGATION)),
        (SPECK, np.ones(len(spots), np.bool_)),
    )
    which = np.argmax([holds for _, holds in tests], axis=0)
    kind, reason = np.array([said for said, _ in tests], np.object_)[which].T
    for said, numbers in ((BRIGHT, 100 * spots.gain_ratio), (FIBRE, elongation), (THIN, widths)):
        is_said = reason == said[1]
        reason[is_said] = [said[1].format(number) for number in numbers[is_said].tolist()]
    return Kinds(kind=kind, reason=reason)
