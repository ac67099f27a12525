"""Numbers and verdicts as people say them: 19 um, 2.5 %, f/11, 12.4 mm."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Final

from motemap.facts.stops import write_f
from motemap.report.plain import printable

if TYPE_CHECKING:
    from collections.abc import Callable

    from motemap.records import Exposure, Method, ShotCheck, Spot, Stack
    from motemap.report.outcome import FrameOutcome

WIDTH_COLUMNS: Final = 80
"""Columns of a terminal that text is laid out for."""

UNKNOWN: Final = "-"

WHOLE_FROM: Final = 9.95
"""From here on sizes and percentages are given without decimals: their errors are larger."""

TENTHS_FROM: Final = 0.0995
"""Percentages from here on are given to a tenth, smaller ones to a hundredth."""

PERCENT: Final = 100.0

LONG_SHUTTER_S: Final = 0.35
"""Exposure times from here on are said in seconds, shorter ones as fractions."""

VERDICT_WORDS: Final[dict[FrameOutcome, str]] = {
    "ready": "READY",
    "clean": "CLEAN",
    "reshoot": "SHOOT AGAIN",
    "unreadable": "NOT READ",
}

OUTCOME_PHRASES: Final[dict[FrameOutcome, str]] = {
    "ready": "ready",
    "clean": "to clean",
    "reshoot": "to shoot again",
    "unreadable": "not read",
}

METHOD_PHRASES: Final[dict[Method, str]] = {
    "none": "nothing to do",
    "blower": "start with the blower",
    "brush": "use the brush",
    "wet swab": "use a wet swab",
    "service": "take it to an authorised service",
}


SOURCE_PHRASES: Final = {
    "given": "as given",
    "metadata": "from the file",
    "assumed": "assumed",
    "measured": "measured",
}
"""Who says how large a sensor is, or how far dust lies from the photosites."""

KNOWN_PHRASE: Final = "measured in other shots of this body"
"""For a distance that the record, or another state of a comparison, gives."""


def say_stack_source(stack: Stack) -> str:
    """Return where the distance from dust to photosites comes from."""
    return KNOWN_PHRASE if stack.is_from_record else SOURCE_PHRASES[stack.source]


def say_um(value_um: float | None) -> str:
    """Return a size without its unit.

    >>> say_um(18.7), say_um(4.26), say_um(None)
    ('19', '4.3', '-')
    """
    if value_um is None or not math.isfinite(value_um):
        return UNKNOWN
    return f"{value_um:.0f}" if value_um >= WHOLE_FROM else f"{value_um:.1f}"


def shown_um(spot: Spot) -> float | None:
    """Return the size that is shown of a mark: its particle's, else the width of its shadow."""
    return spot.width_um if spot.particle_um is None else spot.particle_um


def say_mm(value_mm: float | None) -> str:
    """Return a position on the sensor to a tenth of a millimetre, without its unit."""
    return UNKNOWN if value_mm is None or not math.isfinite(value_mm) else f"{value_mm:.1f}"


def say_percent(share_frac: float | None) -> str:
    """Return a share as a percentage, sign included.

    >>> say_percent(0.0231), say_percent(0.0004), say_percent(0.31)
    ('2.3 %', '0.04 %', '31 %')
    """
    if share_frac is None or not math.isfinite(share_frac):
        return UNKNOWN
    percent = share_frac * PERCENT
    if percent >= WHOLE_FROM:
        return f"{percent:.0f} %"
    return f"{percent:.1f} %" if percent >= TENTHS_FROM else f"{percent:.2f} %"


def say_number(number: int | None) -> str:
    """Return a number of things, or a dash when it is unknown."""
    return UNKNOWN if number is None else str(number)


def say_f(f_number: float | None) -> str:
    """Return an aperture, or a dash when it is unknown."""
    return UNKNOWN if f_number is None else write_f(f_number)


def say_shutter(shutter_s: float) -> str:
    """Return an exposure time.

    >>> say_shutter(0.004), say_shutter(0.5), say_shutter(8.0)
    ('1/250 s', '0.5 s', '8 s')
    """
    if 0 < shutter_s < LONG_SHUTTER_S:
        return f"1/{1 / shutter_s:.0f} s"
    return f"{shutter_s:.2g} s"


def say_exposure(exposure: Exposure) -> str:
    """Return how the picture was taken, as far as it is known."""
    parts = (
        say_f(exposure.f_number) if exposure.f_number is not None else "aperture unknown",
        None if exposure.iso is None else f"ISO {exposure.iso:.0f}",
        None if exposure.shutter_s is None else say_shutter(exposure.shutter_s),
        None if exposure.focal_length_mm is None else f"{exposure.focal_length_mm:.0f} mm",
        None if exposure.taken_at is None else exposure.taken_at.replace("T", " ", 1),
    )
    return ", ".join(part for part in parts if part)


CHECK_WORDS: Final[dict[str, Callable[[float], str]]] = {
    "aperture": say_f,
    "ISO": lambda iso: f"{iso:.0f}",
    "clipping": say_percent,
    "banding": say_percent,
    "resolution": lambda side_px: f"{side_px:.0f} px",
    "sensitivity": lambda smallest_um: f"{smallest_um:.1f} um",
    "brightness": lambda share: f"{share:.2f}",
    "evenness": lambda share: f"{share:.3g}",
}
"""How the value of a shot check is said, by the name of the check."""


def say_check(name: str, value: float | str) -> str:
    """Return what a shot check found.

    >>> say_check("aperture", 5.6), say_check("ISO", 100.0), say_check("field", "a scene")
    ('f/5.6', '100', 'a scene')
    """
    if isinstance(value, str):
        return value
    return CHECK_WORDS.get(name, "{:.4g}".format)(value)


def say_trouble(check: ShotCheck) -> str:
    """Return what a check of the shot found amiss, what it wants, and what to do."""
    between = ": " if isinstance(check.value, str) else " "
    found = "" if check.value is None else f"{between}{say_check(check.name, check.value)}"
    advice = f" {check.advice}" if check.advice else ""
    return f"{check.name}{found}, wanted {check.wanted}.{advice}"


def count(number: int, noun: str) -> str:
    """Return a number with its noun.

    >>> count(1, "spot"), count(0, "spot")
    ('1 spot', '0 spots')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def paragraph(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    """Return `text` as lines that fit, safe for a terminal.

    Parameters
    ----------
    first : str
        What the first line starts with.
    rest : str, optional
        What the others start with; blanks as wide as `first` when left out.
    """
    return textwrap.wrap(
        printable(text),
        width=WIDTH_COLUMNS,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
    )


def shortened(text: str, width: int) -> str:
    """Return `text` cut at its start to fit, so that the end of a path stays.

    >>> shortened("folder/frame.dng", 12)
    '...frame.dng'
    """
    shown = printable(text)
    return shown if len(shown) <= width else "..." + shown[len(shown) - width + 3 :]
