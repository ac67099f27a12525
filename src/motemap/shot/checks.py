"""The questions asked of a test shot, each with its answer and a sentence of advice."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from motemap.shot.answer import ROUNDING, answer

if TYPE_CHECKING:
    from motemap.records import Exposure, Outcome, Plane, ShotCheck
    from motemap.shot.structure import Structure

APERTURE_WANTED_F = 15.0
"""f/16 within the rounding of the marking."""
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
NOT_BLANK = (
    "This is no blank field: shoot an empty bright screen, out of focus, filling the whole frame."
)
SMEAR_IT = "Defocus fully and move the camera during the exposure, to smear the screen's texture."
OBJECTS = "Something in the picture is too soft for dust on the sensor and too dark for the lens."
LINES = (
    "A line crosses the picture, longer than nearly any fibre on a sensor: a wire or an edge in front "
    "of the lens? If nothing was there, a long hair lies on the sensor."
)


def check_exposure(exposure: Exposure) -> tuple[ShotCheck, ...]:
    """Ask about aperture and ISO; what the file does not tell is a warning, never a failure."""
    f_number, iso = exposure.f_number, exposure.iso
    if f_number is None:
        aperture = answer(
            "aperture",
            None,
            "f/16 or narrower",
            "warn",
            "The aperture is not in the file, so there is no forecast: what shows is judged by its "
            "depth in this very shot. Use a lens that reports it.",
        )
    else:
        aperture = answer(
            "aperture",
            f_number,
            "f/16 or narrower",
            "ok" if f_number >= APERTURE_WANTED_F else "warn",
            "Close down to f/16, better f/22: a wide aperture washes small dust out.",
        )
    if iso is None:
        speed = answer(
            "ISO",
            None,
            ISO_WORDS,
            "warn",
            "The ISO is not in the file; use the camera's base ISO.",
        )
    else:
        speed = answer(
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
        answer("brightness", round(level, 4), "0.12 to 0.92 of clipping", outcome, advice),
        answer(
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
        answer(
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
        return answer("evenness", _cut_off(lit), wanted, outcome, advice)
    if structure.n_cut_corners:
        # However little it is: nobody would know otherwise that dust may lie there.
        n_cut = structure.n_cut_corners
        cut = "1 corner cut off" if n_cut == 1 else f"{n_cut} corners cut off"
        return answer("evenness", cut, "light in all corners", "warn", advice)
    fall_off_frac = structure.fall_off_frac
    outcome = "warn" if fall_off_frac < FALL_OFF_WARN else "ok"
    wanted = f"darkest part above {FALL_OFF_WARN:g} of the brightest"
    return answer("evenness", _cut_off(fall_off_frac), wanted, outcome, advice)


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
    return answer("blank field", value, "no structure but dust", outcome, advice)


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"
