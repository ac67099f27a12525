"""Tell shadows from artefacts by what optics allows.

A shadow from the filter stack is at least half a blur disc wide, and its flanks are no softer
than the blur disc makes them (measured on drawn frames: width 0.5 and more, flank 0.95 and less,
in blur-disc diameters). Contour rings, mottling and defects break one of the two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.records.columns import RING_HOLE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.classify.scale import ShadowScale
    from motemap.records import MeasuredSpots

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

TINY_PX = 1e-6
"""No width is taken for less, as lengths are divided by it."""

SHARPEST_OF_SEEN, SMOOTHING_OF_BLUR = 0.5, 0.55
"""Smoothing is taken out of a flank no further than to this share, and no more of it than this
share of the smallest usual blur disc: what is smoothed further is wide, and no faint shadow."""
NARROWEST_OF_BLUR, FINE_NARROWEST_OF_BLUR = 0.44, 0.37
"""Width of the narrowest shadow in blur discs of the thinnest stack, with coarse and with fine
codes: half a blur disc, less what errors of measuring take."""
FAINT_NARROWEST_OF_BLUR = 0.55
"""The same of a faint one, in blur discs of the thinnest usual stack."""
NARROWEST_PX, SMALLEST_PX, FINE_SMALLEST_PX = 1.9, 1.5, 1.1
"""No mark is narrower, lest it be a defect: where the blur is unknown, and where it is known, with
coarse and with fine codes."""
DROP_RING_PX, DROP_RING_BLURS = 25.0, 2.0
"""Length from which what has a bright core is a drop: too large for a defect."""
DEFECT_PX = 3.0
"""A defect that a camera's own processing has smeared over its neighbours is so wide."""
SMEARED_DEFECT_PX = 3.1
"""Few faint ones are wider where the blur is known and marks can be measured by it (drawn frames);
more would cost faint specks of pictures shrunk to half."""
CODED_DEFECT_PX = 4.0
"""A faint one so wide, where coarse codes and compression have worn it down."""
CLEAR_SIGNIFICANCE = 9.0
"""A mark from which noise is no longer to be reckoned with; between what is asked and the next."""
CERTAIN_SIGNIFICANCE = 13.0
"""What is left of a defect after loading never stands out like this."""
CUT_LENGTH_OF_BLUR = 3.0
"""What is left of a cut mark is no longer than this, in blur discs of the thickest stack: a fifth of
a millimetre of dirt and its blur at f/22 (derived)."""
INSIDE_NARROWEST_PX, SOLID_NARROWEST_PX = 3.5, 2.4
"""Certain marks as wide as this are kept, however sharp: dirt under the cover glass. The second where
each value is one photosite's own and the mark is solid: loading takes out clusters of up to 3 x 3
defects, and what is left of larger ones, 3 x 4 and more, spoils every picture like such dirt (drawn
frames)."""
SOLID_FRAC = 0.3
"""Depth from which a mark so small is no thin line of defects: those have 0.17 and less (drawn)."""
FRAYED_ELONGATION = 3.5
"""A faint outline longer than this over its width is a line; a shorter one may be a frayed
speck."""
FRAYED_LENGTH_OF_BLUR = 1.9
"""Noise draws the outline of a faint speck out to no more than this (drawn frames: 1.75)."""
SOFTEST_OF_BLUR = 1.1
"""Softest flank of a shadow from the stack, in blur discs of the thickest; see the top."""
WIDE_BLURS, WIDE_SOFTEST_OF_BLUR = 2.0, 0.95
"""The flank of a faint mark as wide as this is known well; no shadow's is softer."""
SMALL_OF_BLUR = 1.3
"""A bell shorter than so many blur discs has a flank of less than one (derived: 0.7 of its width)."""
FAINT_FRAC = 0.03
"""Fainter dips may be made by uneven light, codes or noise, and more is asked of them; a choice."""
SOFTEST_OF_WIDTH, FINE_SOFTEST_OF_WIDTH = 1.4, 2.2
"""A shadow's flank is about 0.9 of its width; what adds up by chance or on a slope has none. With
fine codes, away from the border, noise alone blurs the two."""
FIBRE_ELONGATION = 2.8
"""Length over width from which a faint dip is a line: a fibre, or what banding and codes leave."""
CLEAR_SNR = 25.0
"""Such a line has to be as clear as this to be a fibre; a choice, not measured."""
ROUND_ELONGATION = 2.0
"""Length over width up to which a dip counts as compact."""
STUCK_STEPS, STUCK_CLEAR_STEPS, STUCK_SEEN_STEPS = 2.5, 1.4, 1.2
"""Depth in units of what coarse codes can feign: deeper dips are no contour rings; compact ones
need less; and no dip is kept that looks fainter than the last."""
STUCK_SIGNIFICANCE = 9.0
"""... or, instead of the second, to stand out of the scatter like this."""
STUCK_NARROWEST_OF_BLUR = 0.5
"""Width that such a compact one has, in blur discs of the thinnest usual stack."""
FILM_SOFTEST_OF_WIDTH = 0.55
"""The bell of uneven light has a flank of 0.7 of its width (derived), a film of 0.3 to 0.4 (drawn)."""
STREAK_ELONGATION = 8.0
"""Length over width from which such a film is a streak, as wiping wet leaves it: no shadows of lens
dust in a row are as long and even."""
STREAK_FRAC = 0.015
"""Streaks may be fainter than other films, as little is as long as they; and the longer a mark, the
less of it the scatter about one place tells, so that of them clearness is enough; both choices."""
STREAK_SOFTEST_OF_WIDTH = 0.85
"""Streaks as deep as a dirty drop may be bells; what is softer yet is several things run together."""
DOME_FRAC, DOME_BLURS = 0.04, 3.5
"""A round dip as deep as this is dirt, a dirty drop with a soft flank; uneven light is fainter."""
HARD_FRAC, HARD_BLURS = 0.25, 2.0
"""A long dip as deep as this is dirt although its flank is soft, as where two marks meet; a
flank softer still belongs to a dark corner."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Origins:
    """What n dips come from: soft shadows from far away, artefacts, or marks where neither.

    Parameters
    ----------
    is_soft : (n,) bool
    artefact : (n,) str
        Why each is no shadow at all; empty where it may be one.
    """

    is_soft: Flags
    artefact: NDArray[np.str_]

    @property
    def is_mark(self) -> Flags:
        """Which are marks."""
        is_shadow: Flags = self.artefact == ""
        return is_shadow & ~self.is_soft


def judge_origins(
    spots: MeasuredSpots, scale: ShadowScale, floor_frac: Floats, is_coding: Flags
) -> Origins:
    """Decide whether dips are marks, soft shadows from far away, or artefacts.

    Parameters
    ----------
    spots : MeasuredSpots
    scale : ShadowScale
    floor_frac : (n,) float64
        Depth that coarse codes can feign at each place; 0 with fine codes.
    is_coding : (n,) bool
        Which dips may be noise that compression by blocks has made into blobs.
    """
    elongation = spots.length_px / np.maximum(spots.width_px, TINY_PX)
    is_drop = _are_bright_inside(spots, scale)
    reasons = _artefact_reasons(spots, scale, elongation, floor_frac)
    reasons = np.where(
        is_coding & (reasons == ""), "as few waves as compression makes of noise", reasons
    )
    artefact = np.where(is_drop, "", reasons)
    is_wide = spots.width_px > WIDE_BLURS * scale.blur_high_px
    is_wide &= spots.depth_frac < FAINT_FRAC
    most = np.where(is_wide, WIDE_SOFTEST_OF_BLUR, SOFTEST_OF_BLUR)
    sharp = sharp_flanks(spots, scale)
    is_soft = _are_soft(spots, elongation, sharp / scale.blur_high_px, most)
    is_soft &= ~_are_small(spots, scale) & ~_are_films(spots, elongation, sharp)
    is_soft &= ~is_drop & (artefact == "")
    return Origins(is_soft=is_soft, artefact=artefact)


def sharp_flanks(spots: MeasuredSpots, scale: ShadowScale) -> Floats:
    """Return how soft marks' flanks are without the smoothing under which they were seen [px].

    Depth over steepest slope of a bell of sigma s is ``sqrt(e) s``, and variances add (derived).
    """
    sigma_px = np.minimum(spots.blur_sigma_px, SMOOTHING_OF_BLUR * scale.blur_usual_px)
    sharpest_px = SHARPEST_OF_SEEN * spots.edge_px
    sharp: Floats = np.sqrt(np.maximum(spots.edge_px**2 - math.e * sigma_px**2, sharpest_px**2))
    return sharp


def _artefact_reasons(
    spots: MeasuredSpots, scale: ShadowScale, elongation: Floats, floor_frac: Floats
) -> NDArray[np.str_]:
    """Return why dips are no shadows at all; empty for those that may be."""
    is_faint = spots.depth_frac < FAINT_FRAC
    is_too_sharp = (spots.depth_frac <= 0) | _are_too_sharp(spots, scale, floor_frac)
    is_stuck = (floor_frac > 0) & (spots.depth_frac < STUCK_STEPS * floor_frac)
    is_stuck &= ~_stand_out(spots, scale, elongation, floor_frac)
    is_line = (elongation > FIBRE_ELONGATION) & ~_are_frayed(spots, scale)
    # Along a border a slope that is cut looks like a line, and deeper than it is.
    is_cut = spots.is_at_border & (spots.significance < CLEAR_SIGNIFICANCE)
    is_line &= (is_faint | is_cut) & _are_unclear(spots)
    has_no_flank = is_faint | (spots.significance < CLEAR_SIGNIFICANCE)
    has_no_flank &= _have_no_flank(spots, scale, floor_frac)
    reasons: NDArray[np.str_] = np.select(
        [is_too_sharp, is_stuck, is_line, has_no_flank],
        [
            "sharper than any shadow can be",
            "a contour ring of coarse codes",
            "a faint line, not a fibre",
            "softer than it is wide",
        ],
        "",
    )
    return reasons


def _are_bright_inside(spots: MeasuredSpots, scale: ShadowScale) -> Flags:
    """Tell clear drops: a thin dark ring round light that it gathers, too large for a defect.

    What lies beside a soft disc cut by the border looks bright, too, but has no sharp flank.
    """
    return (
        spots.are_clear()
        & (spots.edge_px <= SOFTEST_OF_BLUR * scale.blur_high_px)
        & (spots.significance >= CLEAR_SIGNIFICANCE)
        & _are_drop_long(spots, scale)
    )


def _are_drop_long(spots: MeasuredSpots, scale: ShadowScale) -> Flags:
    """Tell marks as long as the ring of a clear drop, which no defect is."""
    is_long: Flags = spots.length_px > max(DROP_RING_PX, DROP_RING_BLURS * scale.blur_low_px)
    return is_long


def _are_soft(spots: MeasuredSpots, elongation: Floats, blurs: Floats, most: Floats) -> Flags:
    """Tell what has a softer flank than dust on the stack, in blur discs, and is not deep dirt."""
    is_round = elongation <= ROUND_ELONGATION
    deep_frac = np.where(is_round, DOME_FRAC, HARD_FRAC)
    softest = np.where(is_round, DOME_BLURS, HARD_BLURS)
    return (blurs > most) & ((spots.depth_frac < deep_frac) | (blurs > softest))


def _are_films(spots: MeasuredSpots, elongation: Floats, sharp: Floats) -> Flags:
    """Tell films that thin out by themselves, softer than the blur disc, by their shape.

    They are longer than any shadow from the lens and have a core, which uneven light has not.
    """
    is_streak = elongation >= STREAK_ELONGATION
    is_clear = spots.depth_frac >= np.where(is_streak, STREAK_FRAC, FAINT_FRAC)
    is_clear &= spots.significance >= np.where(is_streak, CLEAR_SIGNIFICANCE, CERTAIN_SIGNIFICANCE)
    is_deep = is_streak & (spots.depth_frac >= DOME_FRAC)
    softest = np.where(is_deep, STREAK_SOFTEST_OF_WIDTH, FILM_SOFTEST_OF_WIDTH)
    has_core = sharp <= softest * spots.width_px
    return is_clear & has_core & (elongation > ROUND_ELONGATION) & ~spots.is_at_border


def _are_small(spots: MeasuredSpots, scale: ShadowScale) -> Flags:
    """Tell faint marks too small for a shadow from far away: noise alone has made them soft."""
    return (
        (spots.significance < CERTAIN_SIGNIFICANCE)
        & (spots.length_px < SMALL_OF_BLUR * scale.blur_high_px)
        & ~spots.is_at_border
    )


def _are_too_sharp(spots: MeasuredSpots, scale: ShadowScale, floor_frac: Floats) -> Flags:
    """Tell what is left of hot and dead pixels: narrower than the blur of any dust.

    A mark that the border or another cuts may be wider than it looks, but not where it is long: that
    is a column of photosites that fails from some row on. A ring is taken for as wide as it is long:
    where a clear drop throws its light inwards, the ring that is left dark is far narrower than any
    shadow, and no defect closes round anything.
    """
    is_fine = floor_frac <= 0
    share = np.where(is_fine, FINE_NARROWEST_OF_BLUR, NARROWEST_OF_BLUR)
    narrowest_px = share * scale.blur_low_px
    unsure_px = np.maximum(narrowest_px, _defects_px(spots, scale, floor_frac))
    # Dirt beneath the glass is as sharp, but never as small as a defect.
    fine_px = np.where(is_fine, FINE_SMALLEST_PX, SMALLEST_PX)
    smallest_px = fine_px if scale.is_measured else NARROWEST_PX
    is_solid = is_fine & (spots.depth_frac >= SOLID_FRAC) & (not scale.is_smeared)
    inside_px = np.where(is_solid, SOLID_NARROWEST_PX, INSIDE_NARROWEST_PX)
    certain_px = np.maximum(np.minimum(narrowest_px, inside_px), smallest_px)
    is_ring = (spots.hole_frac > RING_HOLE) & _are_drop_long(spots, scale)
    is_cut = _are_short(spots, scale) & (spots.is_at_border | spots.has_neighbour)
    is_long = is_cut | is_ring
    seen_px = np.where(is_long, spots.length_px, spots.width_px)
    return np.where(
        spots.significance < CERTAIN_SIGNIFICANCE,
        _unfrayed_widths(spots, scale) < unsure_px,
        seen_px < certain_px,
    )


def _are_short(spots: MeasuredSpots, scale: ShadowScale) -> Flags:
    """Tell marks that may be what is left of wider ones that the border cuts."""
    is_short: Flags = spots.length_px < CUT_LENGTH_OF_BLUR * scale.blur_high_px
    return is_short


def _defects_px(spots: MeasuredSpots, scale: ShadowScale, floor_frac: Floats) -> Floats:
    """Return how wide marks have to be lest they be defects [px]."""
    is_coded = floor_frac > 0
    faint_px = FAINT_NARROWEST_OF_BLUR * scale.blur_usual_px
    is_clear = spots.significance >= CLEAR_SIGNIFICANCE
    if scale.is_measured:
        # With fine codes of single photosites loading takes defects out whole.
        least_px = SMEARED_DEFECT_PX if scale.is_smeared else SMALLEST_PX
        widest_px = np.where(is_clear, NARROWEST_PX, max(NARROWEST_PX, faint_px))
        return np.where(is_coded, np.maximum(widest_px, least_px), least_px)
    widest_px = np.where(is_coded, CODED_DEFECT_PX, DEFECT_PX)
    return np.where(is_clear, DEFECT_PX, np.maximum(widest_px, faint_px))


def _unfrayed_widths(spots: MeasuredSpots, scale: ShadowScale) -> Floats:
    """Return marks' widths; noise frays a faint outline, long here, thin there: the area holds."""
    is_faint = spots.significance < CLEAR_SIGNIFICANCE
    is_faint &= spots.length_px < FRAYED_ELONGATION * spots.width_px
    is_cut = _are_short(spots, scale) & spots.is_at_border
    seen_px = np.where(is_cut, spots.length_px, spots.width_px)
    even_px = np.sqrt(spots.width_px * spots.length_px)
    return np.where(is_faint | _are_frayed(spots, scale), even_px, seen_px)


def _have_no_flank(spots: MeasuredSpots, scale: ShadowScale, floor_frac: Floats) -> Flags:
    """Tell noise that happens to add up, and slopes along a border, from a shadow.

    A flank no softer than the blur disc is that of a shadow, however narrow noise has made it.
    """
    most = np.where(floor_frac > 0, SOFTEST_OF_WIDTH, FINE_SOFTEST_OF_WIDTH)
    softest_px = np.maximum(most * spots.width_px, scale.blur_low_px)
    return np.where(
        spots.is_at_border,
        spots.edge_px > SOFTEST_OF_WIDTH * spots.width_px,
        sharp_flanks(spots, scale) > softest_px,
    )


def _are_frayed(spots: MeasuredSpots, scale: ShadowScale) -> Flags:
    """Tell faint shadows whose outline noise has frayed: as large as a speck's, and no longer."""
    even_px = np.sqrt(spots.width_px * spots.length_px)
    is_short = spots.length_px < FRAYED_LENGTH_OF_BLUR * scale.blur_low_px
    return is_short & (even_px >= FAINT_NARROWEST_OF_BLUR * scale.blur_usual_px)


def _are_unclear(spots: MeasuredSpots) -> Flags:
    return (spots.snr < CLEAR_SNR) | (spots.significance < CLEAR_SIGNIFICANCE)


def _stand_out(
    spots: MeasuredSpots, scale: ShadowScale, elongation: Floats, floor_frac: Floats
) -> Flags:
    """Tell faint shadows among contour rings: compact, as wide as they must be, and clear."""
    return (
        (elongation <= ROUND_ELONGATION)
        & (spots.seen_depth_frac >= STUCK_SEEN_STEPS * floor_frac)
        & (spots.width_px >= STUCK_NARROWEST_OF_BLUR * scale.blur_usual_px)
        & (
            (spots.significance >= STUCK_SIGNIFICANCE)
            | (spots.seen_depth_frac >= STUCK_CLEAR_STEPS * floor_frac)
        )
    )
