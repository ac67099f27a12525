"""What the signs on a map of before and after mean: only those that are on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.pictures.fates import (
    FATE_WORDS,
    SMALLEST_UNITS,
    Sign,
    fate_body,
    lens_glyph,
)
from motemap.report.pictures.legend import (
    SAMPLE_RADIUS_UNITS,
    lens_half_size,
    scale_words,
    showing_sign,
)
from motemap.report.pictures.marks import N_CROWDED, is_area
from motemap.report.pictures.steps import fated_marks
from motemap.showing import aperture_words, can_forecast, shows_on_sensor

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from motemap.changes import Fate
    from motemap.records import Spot
    from motemap.report.pictures.legend import Draw
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape
    from motemap.report.pictures.steps import Step
    from motemap.settings import WorkSettings

MOVED_FROM_UNITS, MOVED_TO_UNITS = -2.4, 1.6
"""Where the sample of a moved mark lies; a unit is a hundredth of the sensor's longer side."""

BOTH_UNITS = (-1.3, 1.3)
"""Where samples lie of a sign that is there hollow and filled [units]."""


def sign_scale_words(spots: Sequence[Spot], plate: Plate) -> str:
    """Return how large signs of fates are drawn; empty where that is unknown or there is none."""
    said = scale_words(spots, plate, smallest_units=SMALLEST_UNITS)
    fibre = any(spot.kind == "fibre" and not is_area(spot) for spot in spots)
    more = "; a fibre is as large as the round grain that takes as much light" if fibre else ""
    return f"{said}{more}" if said else ""


def step_signs(step: Step, unit: float, work: WorkSettings) -> Iterator[tuple[Draw, str, bool]]:
    """Yield for each sign how it is drawn, what it means, and whether it needs a tall row."""
    marks = fated_marks(step)
    n_showing = sum(mark.is_there and shows_on_sensor(mark.spot, work) for mark in marks)
    if n_showing:
        is_short = n_showing > N_CROWDED
        aperture = aperture_words(work, has_forecast=can_forecast(step.after))
        text = f"filled, with ticks: shows at {aperture} ({n_showing})"
        yield showing_sign(unit, is_short=is_short), text, not is_short
    for fate, words in FATE_WORDS.items():
        alike = [mark for mark in marks if mark.fate == fate and not mark.is_on_lens]
        if alike:
            fills = {mark.is_there and shows_on_sensor(mark.spot, work) for mark in alike}
            yield _fate_sign(fate, unit, sorted(fills)), f"{words} ({len(alike)})", False
    for is_there, words in (
        (True, "on the lens, not the sensor"),
        (False, "was on the lens, not seen here"),
    ):
        count = sum(mark.is_on_lens and mark.is_there == is_there for mark in marks)
        if count:
            yield _lens_sign(unit, is_there=is_there), f"{words} ({count})", False


def _fate_sign(fate: Fate, unit: float, fills: Sequence[bool]) -> Draw:
    """Return how to draw a fate: filled for what shows, hollow for the rest, both where there are both."""
    radius = SAMPLE_RADIUS_UNITS * unit

    def sign(at: Point, aside_units: float, *, is_shown: bool, origin: Point | None) -> Sign:
        place = (at[0] + aside_units * unit, at[1])
        return Sign(fate=fate, at=place, radius=radius, came_from=origin, shows=is_shown)

    def draw(at: Point) -> tuple[Shape, ...]:
        if fate == "moved":
            origin = (at[0] + MOVED_FROM_UNITS * unit, at[1])
            return fate_body(sign(at, MOVED_TO_UNITS, is_shown=fills[-1], origin=origin), unit)
        apart = BOTH_UNITS if len(fills) > 1 else (0.0,)
        return tuple(
            shape
            for aside, is_shown in zip(apart, fills, strict=True)
            for shape in fate_body(sign(at, aside, is_shown=is_shown, origin=None), unit)
        )

    return draw


def _lens_sign(unit: float, *, is_there: bool) -> Draw:
    half_size = lens_half_size(unit)
    return lambda at: lens_glyph(at, half_size, unit, is_there=is_there)
