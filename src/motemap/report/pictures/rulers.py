"""Rulers along the edges and faint lines across, so that a place can be read off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import CAP_FRAC, Box, Paint, Trace, Words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape

STEPS = (1, 2, 5, 10, 20, 50)
"""Ruler steps between numbers [mm, or hundreds of px]."""

MOST_STEPS = 11
"""Most numbers along the longer side."""

TICK_UNITS = 0.7
LONG_TICK_UNITS = 1.4
GAP_UNITS = 0.7
LABEL_GAP_UNITS = 2.4


def step_for(plate: Plate) -> int:
    """Return how many ticks lie between two numbers of the ruler."""
    n_ticks = max(plate.width, plate.height) / plate.per_tick
    return next((step for step in STEPS if n_ticks / step <= MOST_STEPS), STEPS[-1])


def ground(plate: Plate) -> tuple[Shape, ...]:
    """Return the bare plate with its faint lines and its frame."""
    return (
        Box(left=0, top=0, width=plate.width, height=plate.height, paint=Paint(fill=Tone.PLATE)),
        *_grid(plate),
        Box(
            left=0,
            top=0,
            width=plate.width,
            height=plate.height,
            paint=Paint(line=Tone.INK, line_width=0.22 * plate.unit),
        ),
    )


def _grid(plate: Plate) -> Iterator[Shape]:
    paint = Paint(line=Tone.GRID, line_width=0.12 * plate.unit)
    step = step_for(plate) * plate.per_tick
    for place in _places(plate.width, step):
        yield Trace(points=((place, 0.0), (place, plate.height)), paint=paint)
    for place in _places(plate.height, step):
        yield Trace(points=((0.0, place), (plate.width, place)), paint=paint)


def _places(length: float, step: float) -> list[float]:
    return [step * count for count in range(1, int(length // step) + 1) if step * count < length]


def rulers(plate: Plate, type_height: float) -> tuple[Shape, ...]:
    """Return ticks along all four edges, numbered from the left and from the top edge."""
    return (
        *_ticks_along(plate, is_level=True),
        *_ticks_along(plate, is_level=False),
        *_numbers(plate, type_height),
    )


def _ticks_along(plate: Plate, *, is_level: bool) -> Iterator[Shape]:
    length, across = (plate.width, plate.height) if is_level else (plate.height, plate.width)
    paint = Paint(line=Tone.QUIET, line_width=0.12 * plate.unit)
    gap, step = GAP_UNITS * plate.unit, step_for(plate)
    for count in range(int(length // plate.per_tick) + 1):
        place = count * plate.per_tick
        tick = (TICK_UNITS if count % step else LONG_TICK_UNITS) * plate.unit
        for near, far in ((-gap, -gap - tick), (across + gap, across + gap + tick)):
            ends: tuple[Point, Point] = (
                ((place, near), (place, far)) if is_level else ((near, place), (far, place))
            )
            yield Trace(points=ends, paint=paint)


def _numbers(plate: Plate, type_height: float) -> Iterator[Shape]:
    step = step_for(plate)
    away = LABEL_GAP_UNITS * plate.unit
    per_count, unit = (step, "mm") if plate.is_sensor else (step * 100, "px")
    for is_level in (True, False):
        length = plate.width if is_level else plate.height
        for count in range(int(length // (step * plate.per_tick)) + 1):
            place = count * step * plate.per_tick
            text = str(count * per_count)
            yield Words(
                at=(place, -away) if is_level else (-away, place + CAP_FRAC * type_height),
                # Said once, and not at the 0, beside which stands what a swab is wide.
                text=f"{text} {unit}" if is_level and count == 1 else text,
                height=type_height,
                tone=Tone.QUIET,
                anchor="middle" if is_level else "end",
            )


def unit_words(plate: Plate) -> str:
    """Return what the rulers count."""
    if plate.is_sensor:
        width, height = plate.width / plate.per_tick, plate.height / plate.per_tick
        return f"Sensor {width:.1f} x {height:.1f} mm; distances from the edges as seen here"
    return "Rulers: pixels of the stored picture"
