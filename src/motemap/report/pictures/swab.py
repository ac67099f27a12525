"""The swab for wet cleaning, its width and its way, drawn to the scale of the sensor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from motemap.coords import UM_PER_MM
from motemap.facts.methods import find_swab
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import Box, Paint, Trace, Words

if TYPE_CHECKING:
    from motemap.records import FrameReport
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape

WIDEST_SWAB_MM = 24.0
"""Widest swab commonly sold (common practice, no source); larger sensors take two passes."""

SPARE_FRAC = 0.02
"""How much narrower than the sensor's short side a swab may be and still cover it."""

HEAD_UNITS = 2.2
HEAD_GAP_UNITS = 6.6
PATH_GAP_UNITS = 4.6
PATH_STEP_UNITS = 3.2
ARROW_UNITS = 1.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """How a swab crosses the sensor.

    Parameters
    ----------
    width_mm : float
        Width of the swab [mm].
    n_passes : int
        Passes beside one another that cover the sensor.
    """

    width_mm: float
    n_passes: int

    @property
    def words(self) -> str:
        """What to take and how often to cross, in a line."""
        if self.n_passes == 1:
            return f"Swab {self.width_mm:.0f} mm wide, to scale"
        return f"Swab {self.width_mm:.0f} mm wide, {self.n_passes} overlapping passes"


def stroke_for(report: FrameReport) -> Stroke | None:
    """Return swab and passes for a sensor to clean; None for others and unknown ones.

    Notes
    -----
    The swab is as wide as the sensor's short side (common practice, no source).
    """
    sensor = report.sensor
    if report.verdict is None or report.verdict.level != "clean":
        return None
    if sensor is None or not sensor.width_mm or not sensor.height_mm:
        return None
    short_mm = min(sensor.width_mm, sensor.height_mm)
    fact = find_swab(sensor.format)
    low_mm, high_mm = (fact.width_low_mm, fact.width_high_mm) if fact else (0.0, WIDEST_SWAB_MM)
    fitting_mm = float(math.ceil(short_mm * (1 - SPARE_FRAC)))
    width_mm = min(max(fitting_mm, low_mm), high_mm, WIDEST_SWAB_MM)
    n_passes = math.ceil(short_mm * (1 - SPARE_FRAC) / width_mm)
    return Stroke(width_mm=width_mm, n_passes=n_passes)


def swab_shapes(stroke: Stroke, plate: Plate, type_height: float) -> tuple[Shape, ...]:
    """Return swab heads before the sensor and the two strokes beside it."""
    return (
        *_heads(stroke, plate),
        *_head_words(stroke, plate, type_height),
        *_path(plate, type_height),
    )


def _heads(stroke: Stroke, plate: Plate) -> list[Shape]:
    """Draw the swab in true width at the edge where it starts, once a pass."""
    width = stroke.width_mm * UM_PER_MM
    short_side = min(plate.width, plate.height)
    first = (short_side - width) / 2 if stroke.n_passes == 1 else 0.0
    last = short_side - width if stroke.n_passes > 1 else first
    thick, gap = HEAD_UNITS * plate.unit, HEAD_GAP_UNITS * plate.unit
    shapes: list[Shape] = []
    for count in range(stroke.n_passes):
        share = count / (stroke.n_passes - 1) if stroke.n_passes > 1 else 0.0
        start = first + share * (last - first)
        behind = -gap - thick - count * thick * 0.45
        corners = (
            {"left": behind, "top": start, "width": thick, "height": width}
            if plate.width >= plate.height
            else {"left": start, "top": behind, "width": width, "height": thick}
        )
        paint = Paint(fill=Tone.SWAB, line=Tone.SWAB_LINE, line_width=0.18 * plate.unit)
        shapes.append(Box(**corners, corner=0.7 * plate.unit, paint=paint))
    return shapes


def _head_words(stroke: Stroke, plate: Plate, type_height: float) -> tuple[Shape, ...]:
    if plate.width < plate.height:
        return ()
    right = -(HEAD_GAP_UNITS + HEAD_UNITS / 2) * plate.unit
    return tuple(
        Words(
            at=(right, -down * plate.unit),
            text=text,
            height=type_height,
            tone=Tone.SWAB_LINE,
            anchor="middle",
        )
        for text, down in (("swab", 3.4), (f"{stroke.width_mm:.0f} mm", 1.2))
    )


def _path(plate: Plate, type_height: float) -> list[Shape]:
    is_level = plate.width >= plate.height
    length = plate.width if is_level else plate.height
    side = plate.height if is_level else plate.width
    shapes: list[Shape] = []
    for count, words in enumerate(("1 across", "2 turned over, back")):
        away = side + (PATH_GAP_UNITS + count * PATH_STEP_UNITS) * plate.unit
        ends = (0.0, length) if count == 0 else (length, 0.0)
        shapes.extend(_arrow(ends, away, plate, is_level=is_level))
        if is_level:
            shapes.append(_path_words(words, (length / 2, away), type_height))
        else:
            down = -0.7 * type_height if count == 0 else length + 1.9 * type_height
            shapes.append(_path_words(words[:1], (away, down), type_height))
    return shapes


def _path_words(words: str, at: Point, type_height: float) -> Shape:
    return Words(
        at=(at[0], at[1] - 0.35 * type_height),
        text=words,
        height=type_height,
        tone=Tone.SWAB_LINE,
        anchor="middle",
    )


def _arrow(
    ends: tuple[float, float], away: float, plate: Plate, *, is_level: bool
) -> tuple[Shape, Shape]:
    start, end = ends
    head = math.copysign(ARROW_UNITS * plate.unit, end - start)
    half = 0.55 * ARROW_UNITS * plate.unit

    def put(along: float, aside: float) -> Point:
        return (along, away + aside) if is_level else (away + aside, along)

    line = Paint(line=Tone.SWAB_LINE, line_width=0.22 * plate.unit)
    return (
        Trace(points=(put(start, 0.0), put(end - head, 0.0)), paint=line),
        Trace(
            points=(put(end, 0.0), put(end - head, -half), put(end - head, half)),
            paint=Paint(fill=Tone.SWAB_LINE),
            is_closed=True,
        ),
    )
