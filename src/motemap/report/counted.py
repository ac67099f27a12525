"""How many marks each of several frames has and shows, and at which aperture that is told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.facts.stops import write_f
from motemap.report.outcome import outcome
from motemap.report.words import UNKNOWN, paragraph, say_number
from motemap.showing import aperture_words, can_forecast

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.records import FrameReport
    from motemap.settings import WorkSettings

OWN_SIGN: Final = "*"
"""Behind a number that is told of the shot's own aperture, where the others are of the photographer's."""


def is_judged(report: FrameReport) -> bool:
    """Return whether a frame says anything about its sensor."""
    return outcome(report) in {"ready", "clean"}


def found_count(report: FrameReport) -> str:
    """Return how many marks a frame has; a dash for one that is not judged."""
    return str(report.counts.found) if is_judged(report) else UNKNOWN


def showing_count(report: FrameReport) -> str:
    """Return how many marks on the sensor show; a dash where that is unknown."""
    return say_number(report.counts.showing_on_sensor) if is_judged(report) else UNKNOWN


def own_sign(report: FrameReport) -> str:
    """Return the sign of a frame whose marks are told of its own aperture; mostly nothing."""
    return OWN_SIGN if is_judged(report) and not can_forecast(report) else ""


def own_note(reports: Iterable[FrameReport], work: WorkSettings, *, first: str = "") -> list[str]:
    """Return the line that says what the sign means; none where no frame has it."""
    if not any(map(own_sign, reports)):
        return []
    own = aperture_words(work, has_forecast=False)
    said = f"{OWN_SIGN} at {own}: what would show at {write_f(work.shoot_at_f)} is unknown."
    return paragraph(said, first=first)
