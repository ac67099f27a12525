"""Before and after: one sensor, every mark drawn by what became of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from motemap.errors import OutputError
from motemap.facts.stops import write_f
from motemap.report.pictures.fates import FATE_WORDS, Fated, fate_glyph
from motemap.report.pictures.glyphs import tick_reach
from motemap.report.pictures.labels import flag_shapes, place_flags
from motemap.report.pictures.legend import ROOM_UNITS, ROW_UNITS
from motemap.report.pictures.marks import marks_for
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.panel import TYPE_UNITS, add_worst, headlines, panel_column
from motemap.report.pictures.plate import plate_for
from motemap.report.pictures.raster import png_bytes
from motemap.report.pictures.rulers import ground, rulers, unit_words
from motemap.report.pictures.scene import Cluster, Sheet
from motemap.report.pictures.sensor_map import (
    MARGIN_UNITS,
    NUMBER_UNITS,
    PAGE_NUMBER_UNITS,
    PNG_WIDTH_PX,
    RULER_UNITS,
    mark_words,
    page_room,
)
from motemap.report.pictures.svg import svg_element, svg_file
from motemap.report.pictures.view import FACING
from motemap.report.pictures.words import camera_words, count_words, shot_words, verdict_words
from motemap.report.spot_table import shows
from motemap.settings import WorkSettings

if TYPE_CHECKING:
    from collections.abc import Callable

    from motemap.changes import Comparison, Fate, StateChange
    from motemap.records import FrameReport
    from motemap.report.pictures.column import Column
    from motemap.report.pictures.marks import Mark
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape
    from motemap.report.pictures.view import Hold

HEAD_UNITS = 19.0
FOOT_UNITS = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a comparison: the two states and what changed between them."""

    before: FrameReport
    after: FrameReport
    change: StateChange


def steps_of(comparison: Comparison) -> tuple[Step, ...]:
    """Return the steps of a comparison in order; states not fit to judge are passed over."""
    judged = [state for state in comparison.states if state.state == "judged"]
    return tuple(
        Step(before=before, after=after, change=change)
        for (before, after), change in zip(pairwise(judged), comparison.changes, strict=False)
    )


def step_at(comparison: Comparison, place: int) -> Step:
    """Return one step, counted from 0, or from the end when negative.

    Raises
    ------
    OutputError
        If there is no such step: fewer than two states are fit to judge.
    """
    steps = steps_of(comparison)
    if not -len(steps) <= place < len(steps):
        raise OutputError(
            "There are not two states to draw beside each other.",
            repair="Give two or more states that are fit to judge.",
        )
    return steps[place]


def comparison_map_svg(
    comparison: Comparison,
    *,
    step: int = -1,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
) -> str:
    """Return the map of one step of a comparison as an SVG file.

    Parameters
    ----------
    step : int
        Which step, counted from 0; the last when left out.

    Raises
    ------
    OutputError
        If there is no such step.
    """
    return svg_file(_sheet(comparison, step, work or WorkSettings(), hold))


def comparison_map_png(
    comparison: Comparison,
    *,
    step: int = -1,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
    width_px: int = PNG_WIDTH_PX,
) -> bytes:
    """Return the map of one step as a PNG file; see `comparison_map_svg`."""
    return png_bytes(_sheet(comparison, step, work or WorkSettings(), hold), width_px=width_px)


def step_element(one: Step, *, work: WorkSettings, hold: Hold, prefix: str) -> str:
    """Return the bare map of a step as an element of a page."""
    plate = plate_for(one.after, hold)
    left, top, right, bottom = page_room(plate, has_swab=False)
    type_height = PAGE_NUMBER_UNITS * plate.unit
    sheet = Sheet(
        left=-left,
        top=-top,
        width=left + plate.width + right,
        height=top + plate.height + bottom,
        title="What became of the marks",
        summary=step_words(one, work),
        shapes=(
            *ground(plate),
            *rulers(plate, NUMBER_UNITS * plate.unit),
            *fate_clusters(one, plate, work, type_height),
        ),
    )
    return svg_element(sheet, prefix=prefix)


def _sheet(comparison: Comparison, step: int, work: WorkSettings, hold: Hold) -> Sheet:
    one = step_at(comparison, step)
    plate = plate_for(one.after, hold)
    unit = plate.unit
    left, top = -RULER_UNITS * unit, -HEAD_UNITS * unit
    column = _panel(one, plate, work, (plate.width + RULER_UNITS * unit, top))
    bottom = max(plate.height + RULER_UNITS * unit, column.down) + FOOT_UNITS * unit
    margin = MARGIN_UNITS * unit
    lines = (
        verdict_words(comparison.verdict),
        step_words(one, work),
        camera_words(one.after.camera),
        f"{shot_words(one.before)}  to  {shot_words(one.after)}",
    )
    return Sheet(
        left=left - margin,
        top=top - margin,
        width=column.left + column.width - left + 2 * margin,
        height=bottom - top + 2 * margin,
        title=f"Before and after: {shot_words(one.before)}, {shot_words(one.after)}",
        summary=f"{step_words(one, work)}. {plate.view.words}.",
        shapes=(
            *headlines(lines, plate, (left, top)),
            *ground(plate),
            *rulers(plate, TYPE_UNITS * unit),
            *fate_clusters(one, plate, work, NUMBER_UNITS * unit),
            *column.shapes,
        ),
    )


def step_words(one: Step, work: WorkSettings) -> str:
    """Return what a step did, as a person tells it."""
    n_before, n_after = len(one.before.spots), len(one.after.spots)
    n_showing = sum(shows(spot, work) for spot in one.after.spots)
    return (
        f"{count_words(n_before)}, then {n_after}, of which {n_showing}"
        f" will show at {write_f(work.shoot_at_f)}"
    )


def fate_clusters(
    one: Step, plate: Plate, work: WorkSettings, type_height: float
) -> tuple[Shape, ...]:
    """Return every mark of both states by its fate; what is there now is numbered and on top."""
    before = {mark.spot.id: mark for mark in marks_for(one.before.spots, plate, work)}
    after = marks_for(one.after.spots, plate, work)
    fates = {fate.after_id: fate for fate in one.change.marks if fate.after_id}
    absent = [
        (fate.fate, replace(before[fate.before_id], is_numbered=False, shows=False))
        for fate in one.change.marks
        if fate.after_id is None and fate.before_id in before
    ]
    news = {fate.after_id for fate in one.change.marks if fate.fate == "new"}
    in_the_way = [
        *(_with_ticks(mark, plate.unit) if mark.spot.id in news else mark for mark in after),
        *(mark for _, mark in absent),
    ]
    flags = {flag.mark.spot.id: flag for flag in place_flags(in_the_way, plate, type_height)}
    clusters = [_cluster(mark, fate, None, plate, work) for fate, mark in absent]
    for mark in after:
        fate = fates.get(mark.spot.id)
        origin = before.get(fate.before_id) if fate and fate.before_id is not None else None
        cluster = _cluster(mark, fate.fate if fate else "undecided", origin, plate, work)
        flag = flags.get(mark.spot.id)
        number = flag_shapes(flag, plate.unit, type_height) if flag else ()
        clusters.append(
            Cluster(
                shapes=(*number, *cluster.shapes),
                title=cluster.title,
                name=f"mark-{mark.spot.id}",
            )
        )
    return tuple(clusters)


def _with_ticks(mark: Mark, unit: float) -> Mark:
    """Return a mark that keeps numbers off the ticks of a new one."""
    return mark if mark.shows else replace(mark, radius=mark.radius + tick_reach(unit))


def _cluster(
    mark: Mark, fate: Fate, origin: Mark | None, plate: Plate, work: WorkSettings
) -> Cluster:
    fated = Fated(
        fate=fate,
        at=mark.at,
        radius=mark.half_height,
        came_from=origin.at if origin and fate == "moved" else None,
    )
    return Cluster(
        shapes=fate_glyph(fated, plate.unit),
        title=f"{fate.capitalize()}. {mark_words(mark, plate, work)}",
    )


def _panel(one: Step, plate: Plate, work: WorkSettings, corner: Point) -> Column:
    column = panel_column(plate, corner)
    column.rule()
    counts = one.change.counts
    for fate, words in FATE_WORDS.items():
        if counts[fate]:
            column.sample(
                sample(fate, plate.unit),
                f"{words} ({counts[fate]})",
                room=ROOM_UNITS * plate.unit,
                height=ROW_UNITS * plate.unit * (1.5 if fate == "new" else 1.0),
            )
    column.gap(0.5)
    column.text(unit_words(plate), tone=Tone.QUIET)
    if one.change.registration.reason:
        column.text(one.change.registration.reason, tone=Tone.QUIET)
    if one.after.spots:
        column.gap(0.4)
        column.rule()
        add_worst(column, one.after.spots, plate, work)
    return column


def sample(fate: Fate, unit: float) -> Callable[[Point], tuple[Shape, ...]]:
    """Return how to draw the sign of a fate for a legend."""

    def draw(at: Point) -> tuple[Shape, ...]:
        origin = (at[0] - 2.4 * unit, at[1])
        place = (at[0] + 1.6 * unit, at[1]) if fate == "moved" else at
        return fate_glyph(Fated(fate=fate, at=place, radius=0.8 * unit, came_from=origin), unit)

    return draw
