"""How marks are drawn by what became of them between two states of a sensor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.report.pictures import glyphs
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import CAP_FRAC, Circle, Paint, Trace, Words

if TYPE_CHECKING:
    from motemap.changes import Fate
    from motemap.report.pictures.scene import Point, Shape

FATE_WORDS: Final[dict[Fate, str]] = {
    "gone": "gone",
    "stayed": "stayed",
    "weaker": "weaker than before",
    "moved": "moved, from where to where",
    "new": "new",
    "undecided": "undecided: this shot could not show it",
}
"""What each fate means, in the order of a legend."""

HALF_STEPS: Final = 24
ARROW_UNITS: Final = 1.1
ARROW_GAP_UNITS: Final = 0.5
SMALLEST_UNITS: Final = 0.62
QUESTION_UNITS: Final = 0.95
"""Signs of fates carry an inner shape, so they need a little more room [units]."""

TRIANGLE_FRAC: Final = 1.25
"""Reach of a triangle's corners over the radius of a disc of about its area."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """One mark on the sensor and what became of it, ready to be drawn.

    Parameters
    ----------
    at : (float, float)
        Where it is, or was if it is gone.
    came_from : (float, float) or None
        Where it was, for a mark that moved.
    shows : bool
        Whether it is there and shows in pictures.
    is_crowded : bool
        Whether so many marks show that what points at them must be small.
    """

    fate: Fate
    at: Point
    radius: float
    came_from: Point | None = None
    shows: bool = False
    is_crowded: bool = False


def sign_radius(fate: Fate, radius: float, unit: float) -> float:
    """Return how far the sign of a mark of some radius reaches, ticks apart [scene units]."""
    radius = max(radius, SMALLEST_UNITS * unit)
    if fate == "new":
        return TRIANGLE_FRAC * radius
    return max(radius, QUESTION_UNITS * unit) if fate == "undecided" else radius


def fate_glyph(mark: Sign, unit: float) -> tuple[Shape, ...]:
    """Return the sign of a fate; what shows is dark and stands between four ticks.

    Every fate has a shape of its own, so that nothing rests on colour.
    """
    body = fate_body(mark, unit)
    if not mark.shows:
        return body
    reach = sign_radius(mark.fate, mark.radius, unit)
    return (*body, *glyphs.ticks(mark.at, (reach, reach), unit, is_short=mark.is_crowded))


def lens_glyph(
    at: Point, half_size: tuple[float, float], unit: float, *, is_there: bool
) -> tuple[Shape, ...]:
    """Return the sign of a shadow from the lens side, struck off where it is not seen any more."""
    oval = glyphs.lens_oval(at, half_size, unit)
    return (oval,) if is_there else (oval, *_gone(at, SMALLEST_UNITS * unit, unit))


def fate_body(mark: Sign, unit: float) -> tuple[Shape, ...]:
    """Return the sign of a fate without ticks: dark and filled for what shows, else hollow."""
    radius = sign_radius(mark.fate, mark.radius, unit)
    match mark.fate:
        case "gone":
            return _gone(mark.at, radius, unit)
        case "stayed":
            return (glyphs.speck(mark.at, radius, unit, is_shown=mark.shows),)
        case "weaker":
            return _weaker(mark, radius, unit)
        case "moved":
            return _moved(mark, radius, unit)
        case "new":
            return (_triangle(mark, radius, unit),)
        case "undecided":
            return _undecided(mark, radius, unit)


def _triangle(mark: Sign, radius: float, unit: float) -> Shape:
    right, down = mark.at
    aside, below = radius * math.sqrt(0.75), radius / 2
    corners = ((right, down - radius), (right + aside, down + below), (right - aside, down + below))
    paint = glyphs.body_paint(unit, is_shown=mark.shows)
    return Trace(points=corners, paint=paint, is_closed=True)


def _gone(at: Point, radius: float, unit: float) -> tuple[Shape, ...]:
    """Return a cross: struck off."""
    paint = Paint(line=Tone.REST, line_width=glyphs.LINE_UNITS * unit)
    reach = radius * math.sqrt(0.5)
    return tuple(
        Trace(
            points=(
                (at[0] - reach, at[1] - reach * slope),
                (at[0] + reach, at[1] + reach * slope),
            ),
            paint=paint,
        )
        for slope in (1, -1)
    )


def _weaker(mark: Sign, radius: float, unit: float) -> tuple[Shape, ...]:
    """Return a ring, its lower half filled."""
    at, tone = mark.at, Tone.SHOWS if mark.shows else Tone.REST
    turns = (math.pi * step / HALF_STEPS for step in range(HALF_STEPS + 1))
    half = tuple(
        (at[0] + radius * math.cos(turn), at[1] + radius * math.sin(turn)) for turn in turns
    )
    line = Paint(line=tone, line_width=glyphs.LINE_UNITS * unit)
    return (
        Trace(points=half, paint=Paint(fill=tone), is_closed=True),
        Circle(centre=at, radius=radius, paint=line),
    )


def _moved(mark: Sign, radius: float, unit: float) -> tuple[Shape, ...]:
    """Return a diamond where it is, and an arrow from where it was."""
    right, down = mark.at
    corners = ((right, down - radius), (right + radius, down), (right, down + radius))
    diamond = Trace(
        points=(*corners, (right - radius, down)),
        paint=glyphs.body_paint(unit, is_shown=mark.shows),
        is_closed=True,
    )
    if mark.came_from is None:
        return (diamond,)
    return (*_arrow(mark.came_from, mark.at, radius, unit), diamond)


def _arrow(start: Point, end: Point, radius: float, unit: float) -> tuple[Shape, ...]:
    origin = Circle(
        centre=start,
        radius=0.35 * unit,
        paint=Paint(line=Tone.SWAB_LINE, line_width=glyphs.LINE_UNITS * unit),
    )
    distance = math.dist(start, end)
    near, far = 0.35 * unit, distance - radius - ARROW_GAP_UNITS * unit
    if far - near <= ARROW_UNITS * unit:
        return (origin,)
    east, south = (end[0] - start[0]) / distance, (end[1] - start[1]) / distance

    def put(along: float, aside: float) -> Point:
        return (
            start[0] + along * east - aside * south,
            start[1] + along * south + aside * east,
        )

    head, half = far - ARROW_UNITS * unit, 0.5 * ARROW_UNITS * unit
    return (
        origin,
        Trace(
            points=(put(near, 0.0), put(head, 0.0)),
            paint=Paint(line=Tone.SWAB_LINE, line_width=glyphs.LINE_UNITS * unit),
        ),
        Trace(
            points=(put(far, 0.0), put(head, half), put(head, -half)),
            paint=Paint(fill=Tone.SWAB_LINE),
            is_closed=True,
        ),
    )


def _undecided(mark: Sign, reach: float, unit: float) -> tuple[Shape, ...]:
    """Return a question mark in a dotted ring."""
    at, tone = mark.at, Tone.SHOWS if mark.shows else Tone.REST
    dash = (0.25 * unit, 0.4 * unit)
    height = 1.25 * reach
    return (
        Circle(
            centre=at,
            radius=reach,
            paint=Paint(line=tone, line_width=glyphs.LINE_UNITS * unit, dash=dash),
        ),
        Words(
            at=(at[0], at[1] + CAP_FRAC * height),
            text="?",
            height=height,
            tone=Tone.SHOWS if mark.shows else Tone.QUIET,
            anchor="middle",
        ),
    )
