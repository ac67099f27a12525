"""Numbers and names as people write them, for pictures and pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.coords import UM_PER_MM
from motemap.facts.stops import write_f
from motemap.report.plain import printable
from motemap.report.words import shown_um

if TYPE_CHECKING:
    from motemap.records import Camera, FrameReport, Spot, Verdict

UNKNOWN = "unknown"

SEEN_WORDS = "seen, not judged"
"""What is said of the marks of a frame that has to be shot again."""


def length_words(length_um: float | None) -> str:
    r"""Return a small length; number and unit stay on one line.

    >>> length_words(18.6), length_words(1240.0), length_words(None)
    ('19\xa0µm', '1.2\xa0mm', 'unknown')
    """
    if length_um is None:
        return UNKNOWN
    if length_um < UM_PER_MM:
        return f"{length_um:.0f}\N{NO-BREAK SPACE}µm"
    return f"{length_um / UM_PER_MM:.1f}\N{NO-BREAK SPACE}mm"


def size_words(spot: Spot) -> str:
    """Return how big a mark is: a fibre's length, else the particle, else the shadow's width."""
    if spot.kind == "fibre" and spot.length_um is not None:
        return length_words(spot.length_um)
    return length_words(shown_um(spot))


def what_words(spot: Spot) -> str:
    """Return what a mark is and how big, as far as that is known."""
    size = size_words(spot)
    return spot.kind if size == UNKNOWN else f"{spot.kind}, {size}"


def shows_from_words(spot: Spot) -> str:
    """Return the aperture from which a mark shows."""
    return "-" if spot.shows_from_f is None else write_f(spot.shows_from_f)


def count_words(count: int, noun: str = "mark") -> str:
    """Return a count with its noun.

    >>> count_words(1), count_words(0)
    ('1 mark', '0 marks')
    """
    return f"{count} {noun}{'' if count == 1 else 's'}"


def none_words(report: FrameReport) -> str:
    """Return what it means that no mark of a frame is listed."""
    if report.sensitivity.smallest_depth_frac is None:
        return "Not fit to look for marks in"
    return "No mark found" if report.state == "judged" else "No mark seen, others may be hidden"


def camera_words(camera: Camera) -> str:
    """Return which body took the picture, on one line."""
    maker, model = camera.maker or "", camera.model or ""
    name = model if model.startswith(maker) else f"{maker} {model}"
    serial = f"serial {camera.serial}" if camera.serial else ""
    return printable(", ".join(part for part in (name.strip(), serial) if part)) or "Camera unknown"


def verdict_words(verdict: Verdict | None) -> str:
    """Return the verdict as a headline of one or two words."""
    if verdict is None:
        return "Not readable"
    if verdict.level == "reshoot":
        return "Shoot again"
    if verdict.level == "ready":
        return "Ready"
    return "Clean: " + verdict.method


def shot_words(report: FrameReport) -> str:
    """Return which picture it was and how it was taken, on one line."""
    exposure = report.exposure
    parts = [
        printable(report.file.replace("\\", "/").rsplit("/", 1)[-1]),
        write_f(exposure.f_number) if exposure.f_number else "",
        printable(exposure.taken_at.replace("T", " ")) if exposure.taken_at else "",
    ]
    return ", ".join(part for part in parts if part)


def shorten(text: str, n_letters: int) -> str:
    """Return `text`, its middle left out where it is too long.

    >>> shorten("a very long file name.jpg", 14)
    'a very...e.jpg'
    """
    if len(text) <= n_letters:
        return text
    n_head = (n_letters - 2) // 2
    n_tail = n_letters - 3 - n_head
    return f"{text[:n_head]}...{text[-n_tail:]}"
