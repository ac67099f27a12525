"""What the signs on a map of before and after mean: only those that are on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.facts.stops import write_f
from motemap.report.pictures.fates import FATE_WORDS, Sign, fate_glyph, lens_glyph
from motemap.report.pictures.legend import SAMPLE_RADIUS_UNITS, lens_half_size, showing_sign
from motemap.report.pictures.marks import N_CROWDED, shows_on_sensor
from motemap.report.pictures.steps import fated_marks

if TYPE_CHECKING:
    from collections.abc import Iterator

    from motemap.changes import Fate
    from motemap.report.pictures.legend import Draw
    from motemap.report.pictures.scene import Point, Shape
    from motemap.report.pictures.steps import Step
    from motemap.settings import WorkSettings

MOVED_FROM_UNITS, MOVED_TO_UNITS = -2.4, 1.6
"""Where the sample of a moved mark lies; a unit is a hundredth of the sensor's longer side."""


def step_signs(step: Step, unit: float, work: WorkSettings) -> Iterator[tuple[Draw, str, bool]]:
    """Yield for each sign how it is drawn, what it means, and whether it needs a tall row."""
    marks = fated_marks(step)
    n_showing = sum(mark.is_there and shows_on_sensor(mark.spot, work) for mark in marks)
    if n_showing:
        is_short = n_showing > N_CROWDED
        text = f"with ticks: shows at {write_f(work.shoot_at_f)} ({n_showing})"
        yield showing_sign(unit, is_short=is_short), text, not is_short
    for fate, words in FATE_WORDS.items():
        count = sum(mark.fate == fate and not mark.is_on_lens for mark in marks)
        if count:
            yield _fate_sign(fate, unit), f"{words} ({count})", False
    for is_there, words in (
        (True, "on the lens, not the sensor"),
        (False, "was on the lens, not seen here"),
    ):
        count = sum(mark.is_on_lens and mark.is_there == is_there for mark in marks)
        if count:
            yield _lens_sign(unit, is_there=is_there), f"{words} ({count})", False


def _fate_sign(fate: Fate, unit: float) -> Draw:
    def draw(at: Point) -> tuple[Shape, ...]:
        radius = SAMPLE_RADIUS_UNITS * unit
        if fate != "moved":
            return fate_glyph(Sign(fate=fate, at=at, radius=radius), unit)
        place, origin = (
            (at[0] + aside * unit, at[1]) for aside in (MOVED_TO_UNITS, MOVED_FROM_UNITS)
        )
        return fate_glyph(Sign(fate=fate, at=place, radius=radius, came_from=origin), unit)

    return draw


def _lens_sign(unit: float, *, is_there: bool) -> Draw:
    half_size = lens_half_size(unit)
    return lambda at: lens_glyph(at, half_size, unit, is_there=is_there)
