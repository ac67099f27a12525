"""The questions asked of a test shot, each with its answer and a sentence of advice."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from motemap.records import ShotCheck

if TYPE_CHECKING:
    from motemap.records import Exposure, ImageInfo, Outcome, Plane
    from motemap.settings import WorkSettings
    from motemap.shot.sensitivity import FaintShadow
    from motemap.shot.structure import Structure

ROUNDING = 1e-6
"""Binary fractions miss decimal ones by less."""
WIDEST_ASKED_F, APERTURE_WANTED_F = 16.0, 15.0
"""The widest aperture that a test shot is asked for, and it within the rounding of the marking."""
ISO_WANTED = (50.0, 400.0)
"""Base ISO of any camera, and two stops beyond (common practice, no source)."""
ISO_WORDS = "{:.0f} to {:.0f}".format(*ISO_WANTED)
LEVEL_WANTED = (0.12, 0.92)
"""Median light, 1 being white: as the meter exposes a blank field, up to just below clipping."""
LEVEL_BLACK = 0.004
"""Eight stops below clipping: nobody has exposed for the screen."""
CLIPPED_WARN_FRAC, CLIPPED_FAIL_FRAC = 0.002, 0.05
"""Pure white hides dust. Where more than a twentieth of the frame cannot be looked at, nobody can
say that the sensor is clean, and another shot costs less than a speck that was missed."""
BLACK_FAIL_FRAC = 0.5
"""Share of the pixels without any light."""
FALL_OFF_WARN = 0.3
"""Darkest over brightest light; lenses at f/16 fall off by less than two stops (from memory)."""
LIT_WARN, LIT_FAIL = 0.99, 0.95
"""Share of the frame that can be judged; the last as `CLIPPED_FAIL_FRAC`."""
ROUGH_WARN, ROUGH_FAIL = 0.01, 0.08
"""Share of the boxes with structure coarser than noise; a choice, not measured."""
BRIGHT_WARN, BRIGHT_FAIL = 0.0005, 0.01
"""Share of the cells clearly brighter than the background, which dust never is; a choice."""
MARKED_FAIL = 0.25
"""Share of the frame inside marks: that is a picture, no dust; a choice."""
TEXTURE_WARN = 0.006
"""Median scatter of the pooled contrast: four times the least depth that is looked for."""
STRIPE_WARN_FRAC = 0.004
"""Scatter of the levels of rows or columns: nearly three times the least depth that is looked
for."""
SIDE_MIN_PX = 400
"""Short side of a picture with hardly the cells that the background asks for ..."""
SIDE_GOOD_PX = 1800
"""... and of one large enough to be no reduced copy; a choice."""
DEFECT_REACH_PX = 2.0
"""How far neighbours lie by which `motemap.load` tells a defect."""
LEAST_SHARE, LEAST_SHARE_OF_PHOTOSITES = 0.25, 0.0
"""With less, fewer than nine in ten deep specks are found (drawn frames, pitch 6 to 24 um); a
single photosite shows its defects as they are."""
PHOTOSITE_MOSAICS = ("2x2", "none")
"""The cells of a 6x6 mosaic are wider than such shadows."""
NOT_BLANK = (
    "This is no blank field: shoot an empty bright screen, out of focus, filling the whole frame."
)
SMEAR_IT = "Defocus fully and move the camera during the exposure, to smear the screen's texture."
OBJECTS = "Something in the picture is too soft for dust on the sensor and too dark for the lens."
LINES = (
    "A line crosses the picture, longer than nearly any fibre on a sensor: a wire or an edge in front "
    "of the lens? If nothing was there, a long hair lies on the sensor."
)
TOO_NOISY = (
    "This frame is too noisy to show dust of any size: use base ISO, expose longer, and shoot an "
    "empty bright screen."
)
ROUGH = (
    "Fainter marks may have been missed. They do not matter if the shot was taken at f/16 or narrower: use "
    "a lens that reports its aperture."
)
TOO_ROUGH = (
    "Fainter marks may have been missed, and without aperture and sensor size nobody can say that they "
    "do not matter: use base ISO, expose longer, take the raw file, and a lens that reports its aperture."
)


def _check(
    name: str, value: float | str | None, wanted: str, outcome: Outcome, advice: str
) -> ShotCheck:
    return ShotCheck(
        name=name,
        value=value,
        wanted=wanted,
        outcome=outcome,
        advice=None if outcome == "ok" else advice,
    )


def check_exposure(exposure: Exposure) -> tuple[ShotCheck, ...]:
    """Ask about aperture and ISO; what the file does not tell is a warning, never a failure."""
    f_number, iso = exposure.f_number, exposure.iso
    if f_number is None:
        aperture = _check(
            "aperture",
            None,
            "f/16 or narrower",
            "warn",
            "The aperture is not in the file, so there is no forecast: what shows is judged by its "
            "depth in this very shot. Use a lens that reports it.",
        )
    else:
        aperture = _check(
            "aperture",
            f_number,
            "f/16 or narrower",
            "ok" if f_number >= APERTURE_WANTED_F else "warn",
            "Close down to f/16, better f/22: a wide aperture washes small dust out.",
        )
    if iso is None:
        speed = _check(
            "ISO",
            None,
            ISO_WORDS,
            "warn",
            "The ISO is not in the file; use the camera's base ISO.",
        )
    else:
        speed = _check(
            "ISO",
            iso,
            ISO_WORDS,
            "ok" if ISO_WANTED[0] <= iso <= ISO_WANTED[1] else "warn",
            "Use the camera's base ISO: less noise shows smaller dust.",
        )
    return aperture, speed


def check_light(level: float, plane: Plane) -> tuple[ShotCheck, ...]:
    """Ask whether the frame is bright and not clipped.

    Parameters
    ----------
    level : float
        Median light, 1 = clipping.
    plane : Plane
    """
    dark = level < LEVEL_BLACK or plane.black_frac > BLACK_FAIL_FRAC
    in_range = LEVEL_WANTED[0] <= level <= LEVEL_WANTED[1]
    outcome: Outcome = "fail" if dark else "ok" if in_range else "warn"
    advice = (
        "The frame is black; expose the blank screen as a light grey."
        if dark
        else "Expose longer, one to two stops over the meter: a light grey shows dust best."
        if level < LEVEL_WANTED[0]
        else "Expose a little less, so that nothing comes near pure white."
    )
    clipped = plane.clipped_frac
    clip_outcome: Outcome = (
        "fail" if clipped > CLIPPED_FAIL_FRAC else "warn" if clipped > CLIPPED_WARN_FRAC else "ok"
    )
    return (
        _check("brightness", round(level, 4), "0.12 to 0.92 of clipping", outcome, advice),
        _check(
            "clipping",
            round(clipped, 5),
            "under 0.2 % of the frame",
            clip_outcome,
            "Pure white hides dust: expose less.",
        ),
    )


def check_field(
    structure: Structure, stripe_frac: float, *, n_objects: int = 0, n_lines: int = 0
) -> tuple[ShotCheck, ...]:
    """Ask whether the frame is an even, blank field.

    Parameters
    ----------
    structure : Structure
    stripe_frac : float
        Scatter of the levels of rows or columns.
    n_objects : int
        Dark soft things in the picture that no dust can throw.
    n_lines : int
        Dark lines from the border of the picture, as long as its short side or longer.
    """
    return (
        _check_even(structure),
        _check_blank(structure, n_objects, n_lines),
        _check(
            "banding",
            round(stripe_frac, 5),
            "rows alike within 0.4 %",
            "warn" if stripe_frac > STRIPE_WARN_FRAC else "ok",
            "Expose for half a second or longer with the mechanical shutter, against flicker.",
        ),
    )


def _check_even(structure: Structure) -> ShotCheck:
    """Ask whether all of the frame has light, and then whether it is even."""
    lit = structure.lit_share
    advice = "Light the whole frame evenly, hood and filters off: dark or burnt-out parts cannot be judged."
    if lit < LIT_WARN:
        outcome: Outcome = "fail" if lit < LIT_FAIL else "warn"
        wanted = f"{LIT_WARN:g} of the frame neither dark nor burnt out"
        return _check("evenness", _cut_off(lit), wanted, outcome, advice)
    if structure.n_cut_corners:
        # However little it is: nobody would know otherwise that dust may lie there.
        n_cut = structure.n_cut_corners
        cut = "1 corner cut off" if n_cut == 1 else f"{n_cut} corners cut off"
        return _check("evenness", cut, "light in all corners", "warn", advice)
    fall_off_frac = structure.fall_off_frac
    outcome = "warn" if fall_off_frac < FALL_OFF_WARN else "ok"
    wanted = f"darkest part above {FALL_OFF_WARN:g} of the brightest"
    return _check("evenness", _cut_off(fall_off_frac), wanted, outcome, advice)


def _cut_off(share: float) -> float:
    """Return a share with three decimals, rounded down: too little never reads as enough."""
    return math.floor(1000 * share + ROUNDING) / 1000


def _check_blank(structure: Structure, n_objects: int, n_lines: int) -> ShotCheck:
    """Ask whether there is anything in the field but dust; the value is what decided."""
    rough = f"structure in {_percent(structure.rough_share)} of the frame"
    bright = f"{_percent(structure.bright_share)} of the frame brighter than round about"
    marked = f"marks on {_percent(structure.marked_share)} of the frame"
    dark = "1 soft dark thing" if n_objects == 1 else f"{n_objects} soft dark things"
    lines = "1 line across" if n_lines == 1 else f"{n_lines} lines across"
    texture = f"texture of {_percent(structure.texture_frac)} all over"
    tests: tuple[tuple[bool, tuple[str, Outcome, str]], ...] = (
        (structure.rough_share > ROUGH_FAIL, (rough, "fail", NOT_BLANK)),
        (structure.bright_share > BRIGHT_FAIL, (bright, "fail", NOT_BLANK)),
        (structure.marked_share > MARKED_FAIL, (marked, "fail", NOT_BLANK)),
        (n_objects > 0, (dark, "fail", f"{OBJECTS} {NOT_BLANK}")),
        (n_lines > 0, (lines, "fail", f"{LINES} {NOT_BLANK}")),
        (structure.rough_share > ROUGH_WARN, (rough, "warn", SMEAR_IT)),
        (structure.bright_share > BRIGHT_WARN, (bright, "warn", SMEAR_IT)),
        (structure.texture_frac > TEXTURE_WARN, (texture, "warn", SMEAR_IT)),
        (True, ("nothing else", "ok", "")),
    )
    # The first that holds is said.
    value, outcome, advice = next(said for holds, said in tests if holds)
    return _check("blank field", value, "no structure but dust", outcome, advice)


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"


def check_resolution(
    info: ImageInfo, shadow: FaintShadow | None = None, narrowest: FaintShadow | None = None
) -> ShotCheck:
    """Ask whether the picture has pixels enough.

    Parameters
    ----------
    info : ImageInfo
    shadow : FaintShadow, optional
        What a small speck throws in this frame. One too narrow to be told from a defect is
        taken out with those when the picture is loaded, however deep it is.
    narrowest : FaintShadow, optional
        The same from the nearest distance that has to be reckoned with where it is assumed.
    """
    side = min(info.width_px, info.height_px)
    outcome: Outcome = "fail" if side < SIDE_MIN_PX else "warn" if side < SIDE_GOOD_PX else "ok"
    wanted = f"{SIDE_GOOD_PX} px or more on the short side"
    advice = "Use the full-size picture as the camera wrote it: small copies lose small dust."
    fine = "pixels so fine that small shadows are wider than a defect"
    value: float | str = float(side)
    if shadow is not None and _is_defect_like(shadow, info):
        outcome, wanted, value = "fail", fine, _width_words(shadow)
        advice = (
            "Shadows of small dust may be so narrow in these pixels that they cannot be told from "
            "defects: use the full-size picture, best the raw file."
        )
    elif outcome != "fail" and narrowest is not None and _is_defect_like(narrowest, info):
        outcome, wanted, value = "warn", fine, _width_words(narrowest)
        advice = (
            "Should the dust be nearer to the photosites than is assumed, its shadows are so narrow in "
            "these pixels that they are taken for defects: use the full-size picture, best the raw file."
        )
    return _check("resolution", value, wanted, outcome, advice)


def _is_defect_like(shadow: FaintShadow, info: ImageInfo) -> bool:
    return shadow.share_at(DEFECT_REACH_PX) < _least_share(info)


def _width_words(shadow: FaintShadow) -> str:
    return f"small shadows {shadow.width_px:.2g} px wide"


def _least_share(info: ImageInfo) -> float:
    """Return what share of its depth a shadow must have beyond the reach of a defect."""
    has_photosites = info.kind == "raw" and info.mosaic in PHOTOSITE_MOSAICS
    return LEAST_SHARE_OF_PHOTOSITES if has_photosites else LEAST_SHARE


def _harmless_depth(work: WorkSettings) -> float:
    """Return how deep in the widest test shot asked for a speck is that just shows in pictures.

    The depth of a small speck grows with the square of the f-number.
    """
    return work.show_depth_frac * max(1.0, (WIDEST_ASKED_F / work.shoot_at_f) ** 2)


def check_sensitivity(
    smallest_um: float | None,
    matters_um: float | None,
    work: WorkSettings,
    smallest_depth_frac: float = 0.0,
) -> ShotCheck:
    """Ask whether the frame could have shown the smallest speck that matters.

    Parameters
    ----------
    smallest_um : float or None
        Smallest speck nine in ten of which this frame shows [um]; None when it shows none.
    matters_um : float or None
        Smallest speck that shows at the photographer's aperture [um]; None when none does. Both
        are None where aperture or sensor size is unknown.
    work : WorkSettings
        The photographer's aperture, and from which depth on marks show.
    smallest_depth_frac : float
        Depth from which on marks are found; asked of where both sizes are None. There what shows
        is judged by its depth in this very shot: what is missed may matter, unless the shot was
        taken at an aperture narrower than the photographer's, as is asked for.
    """
    name, wanted = "sensitivity", f"specks that show at f/{work.shoot_at_f:g}"
    if smallest_um is None and matters_um is None:
        if smallest_depth_frac > work.show_depth_frac:
            # Rounded up, so that it never reads as little as what is wanted.
            least_percent = math.ceil(1e4 * smallest_depth_frac - ROUNDING) / 100
            found = f"marks from {least_percent:.4g} % of the light on"
            is_blind = smallest_depth_frac > _harmless_depth(work)
            return _check(
                name,
                found,
                f"from {100 * work.show_depth_frac:.3g} % on",
                "fail" if is_blind else "warn",
                TOO_ROUGH if is_blind else ROUGH,
            )
        return _check(
            name,
            None,
            wanted,
            "warn",
            "Aperture or sensor size is unknown, so this could not be worked out.",
        )
    if matters_um is None:
        return _check(
            name, None if smallest_um is None else round(smallest_um, 1), wanted, "ok", ""
        )
    wanted = f"{matters_um:.1f} um or smaller"
    if smallest_um is None:
        return _check(
            name,
            None,
            wanted,
            "fail",
            TOO_NOISY,
        )
    is_fine = smallest_um <= matters_um
    return _check(
        name,
        # A failure never reads as what is wanted.
        round(smallest_um if is_fine else max(smallest_um, round(matters_um, 1) + 0.1), 1),
        wanted,
        "ok" if is_fine else "fail",
        f"This frame could not have shown all dust that matters at f/{work.shoot_at_f:g}: "
        "close down further, use base ISO, or take the raw file.",
    )
