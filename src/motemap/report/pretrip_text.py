"""A trip in one line a body: ready or not, and what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.report.text import BOLD, COLOURS, INDENT, PLAIN
from motemap.report.words import METHOD_PHRASES, count, paragraph, shortened
from motemap.showing import can_forecast

if TYPE_CHECKING:
    from motemap.bodies import Trip, TripBody, TripState
    from motemap.report.outcome import FrameOutcome

STATE_WORDS: Final[dict[TripState, str]] = {
    "ready": "READY",
    "clean": "CLEAN",
    "reshoot": "SHOOT AGAIN",
    "stale": "TOO OLD",
    "missing": "MISSING",
    "unreadable": "NOT READ",
}

COLOUR_OF: Final[dict[TripState, FrameOutcome]] = {
    "ready": "ready",
    "clean": "clean",
    "reshoot": "reshoot",
    "stale": "reshoot",
    "missing": "reshoot",
    "unreadable": "unreadable",
}

PHRASES: Final[dict[TripState, str]] = {
    "ready": "ready",
    "clean": "to clean",
    "reshoot": "to shoot again",
    "stale": "too old",
    "missing": "missing",
    "unreadable": "not read",
}

STATE_COLUMNS: Final = 12
TITLE_COLUMNS: Final = 32


def render(trip: Trip, *, has_colour: bool = False) -> str:
    """Return the report as text, ending in a line feed."""
    lines = [_line(body, has_colour=has_colour) for body in trip.bodies]
    for frame in trip.unreadable:
        words = _coloured("unreadable", has_colour=has_colour)
        lines.append(f"{words}{shortened(frame.file, 80 - STATE_COLUMNS)}")
        if frame.error:
            lines += paragraph(f"{frame.error.cause} {frame.error.repair}", first=INDENT)
    lines += _notes(trip)
    return "\n".join([*lines, "", *paragraph(_summary(trip))]) + "\n"


def _line(body: TripBody, *, has_colour: bool) -> str:
    words = _coloured(body.state, has_colour=has_colour)
    title = shortened(body.body.title if body.state != "missing" else _missing(body), TITLE_COLUMNS)
    return f"{words}{title:<{TITLE_COLUMNS}}  {_what(body)}".rstrip()


def _missing(body: TripBody) -> str:
    return f"no. {body.body.serial}"


def _coloured(state: TripState, *, has_colour: bool) -> str:
    words = STATE_WORDS[state]
    padding = " " * (STATE_COLUMNS - len(words))
    if has_colour:
        words = f"{BOLD}{COLOURS[COLOUR_OF[state]]}{words}{PLAIN}"
    return words + padding


def _what(body: TripBody) -> str:
    """Say what there is to do, in a few words."""
    if body.state == "missing":
        return "no test shot in the folder"
    if body.state == "stale":
        age = "age unknown" if body.age_days is None else f"{count(int(body.age_days), 'day')} old"
        return f"shoot again: {age}"
    if body.state == "reshoot" or body.method is None:
        return f"shoot again: {_faults(body)}".removesuffix(": ")
    if body.state == "ready":
        return "" if not body.report else _ready(body)
    minutes = "" if body.minutes is None else f", about {body.minutes:.0f} min"
    return f"{METHOD_PHRASES[body.method]}{minutes}"


def _faults(body: TripBody) -> str:
    """Name the checks of the shot that failed, so that the next one can be better."""
    checks = body.report.shot_checks if body.report else ()
    return ", ".join(check.name for check in checks if check.outcome == "fail")


def _ready(body: TripBody) -> str:
    report = body.report
    if report is None or not report.counts.found:
        return "no mark found"
    return "nothing would show" if can_forecast(report) else "nothing shows at its own aperture"


def _notes(trip: Trip) -> list[str]:
    lines: list[str] = []
    for body in trip.bodies:
        for note in body.notes:
            lines += paragraph(f"{body.body.title}: {note}", first=INDENT)
    return ["", *lines] if lines else []


def _summary(trip: Trip) -> str:
    states = [body.state for body in trip.bodies] + ["unreadable"] * len(trip.unreadable)
    said = [f"{states.count(state)} {PHRASES[state]}" for state in PHRASES if state in states]
    n_bodies = len(trip.bodies)
    n_doubtful = sum(body.may_be_several for body in trip.bodies)
    doubt = f"; {n_doubtful} without serial number may be several" if n_doubtful else ""
    return f"{n_bodies} {'body' if n_bodies == 1 else 'bodies'}: {', '.join(said)}{doubt}."
