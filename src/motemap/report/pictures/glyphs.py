"""How one mark looks: told apart by shape and by fill, never by colour alone."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from motemap.report.pictures.marks import CURL_HEIGHT_FRAC, is_area
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import Circle, Paint, Trace

if TYPE_CHECKING:
    from motemap.report.pictures.marks import Mark
    from motemap.report.pictures.scene import Point, Shape

LINE_UNITS = 0.2
THICK_LINE_UNITS = 0.34
TICK_GAP_UNITS, TICK_UNITS = 0.55, 1.15
SHORT_TICK_GAP_UNITS, SHORT_TICK_UNITS = 0.0, 0.55
"""Gap to, and length of, the four ticks round a mark that shows, and where many do [units]."""

CURL_WAVES = 2.5
CURL_STEPS = 40
"""With two and a half waves of `CURL_HEIGHT_FRAC` the line is 2.4 times as long as the figure,
which is what `CURL_FRAC` allows for."""

OVAL_STEPS = 36
FIBRE_LINE_FRAC = 0.18
"""Thickest line of a fibre, as a share of half its length over all."""


def glyph(mark: Mark, unit: float) -> tuple[Shape, ...]:
    """Return the shapes of a mark; what shows is filled and stands between four ticks."""
    body = _body(mark, unit)
    if not mark.shows:
        return body
    half_size = (mark.radius, mark.half_height)
    return (*body, *ticks(mark.at, half_size, unit, is_short=mark.is_crowded))


def tick_reach(unit: float, *, is_short: bool = False) -> float:
    """Return how far the ticks stick out of a mark [scene units]."""
    if is_short:
        return (SHORT_TICK_GAP_UNITS + SHORT_TICK_UNITS) * unit
    return (TICK_GAP_UNITS + TICK_UNITS) * unit


def _body(mark: Mark, unit: float) -> tuple[Shape, ...]:
    if is_area(mark.spot):
        return (_area(mark, unit),)
    if mark.spot.kind == "fibre":
        line_width = 2 * mark.half_width
        half_size = (mark.radius, mark.half_height)
        return (fibre(mark.at, half_size, line_width, unit, is_shown=mark.shows),)
    if mark.spot.layer == "inside":
        return (
            square(mark.at, max(mark.radius, 0.6 * unit), body_paint(unit, is_shown=mark.shows)),
        )
    if mark.spot.kind == "droplet":
        return droplet(mark.at, mark.radius, unit, is_shown=mark.shows)
    return (speck(mark.at, mark.radius, unit, is_shown=mark.shows),)


def body_paint(unit: float, *, is_shown: bool) -> Paint:
    """Return filled and dark for what shows, hollow and grey for the rest."""
    if is_shown:
        return Paint(fill=Tone.SHOWS, line=Tone.SHOWS, line_width=LINE_UNITS * unit)
    return Paint(line=Tone.REST, line_width=LINE_UNITS * unit)


def speck(at: Point, radius: float, unit: float, *, is_shown: bool) -> Shape:
    """Return a disc or a ring."""
    return Circle(centre=at, radius=radius, paint=body_paint(unit, is_shown=is_shown))


def droplet(at: Point, radius: float, unit: float, *, is_shown: bool) -> tuple[Shape, ...]:
    """Return a disc or ring with a core of the other kind."""
    core = Paint(fill=Tone.PLATE) if is_shown else Paint(fill=Tone.REST)
    outer = speck(at, max(radius, unit * 0.7), unit, is_shown=is_shown)
    return outer, Circle(centre=at, radius=max(radius * 0.4, unit * 0.28), paint=core)


def fibre(
    at: Point, half_size: tuple[float, float], line_width: float, unit: float, *, is_shown: bool
) -> Shape:
    """Return a curled line, as long along itself as the fibre; its true course is unknown."""
    thinnest = (THICK_LINE_UNITS if is_shown else LINE_UNITS) * unit
    reach = max(half_size[0], unit)
    swing = max(half_size[1], CURL_HEIGHT_FRAC * unit) if half_size[0] < unit else half_size[1]
    line_width = max(thinnest, min(line_width, FIBRE_LINE_FRAC * reach))
    points = []
    for step in range(CURL_STEPS + 1):
        along = 2 * step / CURL_STEPS - 1
        wave = math.sin((along + 1) * math.pi * CURL_WAVES)
        points.append((at[0] + along * reach, at[1] + wave * swing))
    tone = Tone.SHOWS if is_shown else Tone.REST
    return Trace(points=tuple(points), paint=Paint(line=tone, line_width=line_width))


def square(at: Point, half: float, paint: Paint) -> Shape:
    """Return a square, the sign of what lies under the glass."""
    right, down = at
    corners = ((-half, -half), (half, -half), (half, half), (-half, half))
    points = tuple((right + aside, down + below) for aside, below in corners)
    return Trace(points=points, paint=paint, is_closed=True)


def _area(mark: Mark, unit: float) -> Shape:
    if mark.spot.layer == "lens side":
        return lens_oval(mark.at, (mark.radius, mark.half_height), unit)
    tone = Tone.SHOWS if mark.shows else Tone.REST
    dash = () if mark.shows else (1.1 * unit, 0.6 * unit)
    width = (THICK_LINE_UNITS if mark.shows else LINE_UNITS) * unit
    paint = Paint(line=tone, line_width=width, dash=dash)
    return oval(mark.at, max(mark.radius, unit), max(mark.half_height, unit * 0.6), paint)


def lens_oval(at: Point, half_size: tuple[float, float], unit: float) -> Shape:
    """Return a dotted oval, the sign of what lies on the lens: it never counts as showing."""
    dash = (0.25 * unit, 0.75 * unit)
    paint = Paint(line=Tone.REST, line_width=LINE_UNITS * unit, dash=dash)
    return oval(at, max(half_size[0], unit), max(half_size[1], unit * 0.6), paint)


def oval(at: Point, half_length: float, half_width: float, paint: Paint) -> Shape:
    """Return a level oval."""
    turns = (2 * math.pi * step / OVAL_STEPS for step in range(OVAL_STEPS))
    points = tuple(
        (at[0] + half_length * math.cos(turn), at[1] + half_width * math.sin(turn))
        for turn in turns
    )
    return Trace(points=points, paint=paint, is_closed=True)


def ticks(
    at: Point, half_size: tuple[float, float], unit: float, *, is_short: bool = False
) -> tuple[Shape, ...]:
    """Return four short lines that point at a figure of that half width and half height."""
    gap = (SHORT_TICK_GAP_UNITS if is_short else TICK_GAP_UNITS) * unit
    paint = Paint(line=Tone.SHOWS, line_width=THICK_LINE_UNITS * unit)
    shapes = []
    for east, south in ((0, -1), (1, 0), (0, 1), (-1, 0)):
        half = half_size[0 if east else 1]
        reach = (half + gap, half + tick_reach(unit, is_short=is_short))
        ends = tuple((at[0] + east * away, at[1] + south * away) for away in reach)
        shapes.append(Trace(points=ends, paint=paint))
    return tuple(shapes)
