"""Before and after: one sensor, every mark drawn by what became of it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from motemap.report.pictures.fate_legend import sign_scale_words, step_signs
from motemap.report.pictures.fates import Sign, fate_glyph, lens_glyph, sign_radius
from motemap.report.pictures.labels import flag_shapes, place_flags
from motemap.report.pictures.legend import add_scale, add_signs
from motemap.report.pictures.marks import as_grain_um, is_area, magnification_for, marks_for
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
    place_words,
)
from motemap.report.pictures.steps import fated_marks, laid_words, step_at, step_words
from motemap.report.pictures.svg import svg_element, svg_file
from motemap.report.pictures.view import FACING
from motemap.report.pictures.words import camera_words, shot_words, verdict_words
from motemap.settings import WorkSettings

if TYPE_CHECKING:
    from motemap.changes import Comparison
    from motemap.records import Spot
    from motemap.report.pictures.column import Column
    from motemap.report.pictures.marks import Mark
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape
    from motemap.report.pictures.steps import Fated, Step
    from motemap.report.pictures.view import Hold

HEAD_UNITS = 19.0
FOOT_UNITS = 1.0

ONE_STEP_WORDS = "Only step {} is drawn here; the report page draws every step"


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
    which = f"Step {one.number} of {one.n_steps}: " if one.n_steps > 1 else ""
    lead = f"{which}{step_words(one, work)}"
    lines = (
        verdict_words(comparison.verdict),
        lead,
        camera_words(one.after.camera),
        f"{shot_words(one.before)}  to  {shot_words(one.after)}",
    )
    return Sheet(
        left=left - margin,
        top=top - margin,
        width=column.left + column.width - left + 2 * margin,
        height=bottom - top + 2 * margin,
        title=f"Before and after: {shot_words(one.before)}, {shot_words(one.after)}",
        summary=f"{lead}. {plate.view.words}.",
        shapes=(
            *headlines(lines, plate, (left, top)),
            *ground(plate),
            *rulers(plate, TYPE_UNITS * unit),
            *fate_clusters(one, plate, work, NUMBER_UNITS * unit),
            *column.shapes,
        ),
    )


def fate_clusters(
    one: Step, plate: Plate, work: WorkSettings, type_height: float
) -> tuple[Shape, ...]:
    """Return every mark of both states by its fate; what is there now is numbered and on top."""
    magnification = magnification_for(_both(one), plate)
    before, after = (
        {
            mark.spot.id: _as_grain(mark, plate, magnification)
            for mark in marks_for(state, plate, work, magnification)
        }
        for state in (one.before, one.after)
    )
    fated = {
        is_there: [each for each in fated_marks(one) if each.is_there == is_there]
        for is_there in (False, True)
    }
    absent = [
        (each, _drawn(replace(before[each.spot.id], is_numbered=False, shows=False), each, plate))
        for each in fated[False]
    ]
    by_id = {each.spot.id: each for each in fated[True]}
    # In the order of the marks, so that the worst lie on top; long arrows lie under them all.
    there = [(by_id[number], _drawn(mark, by_id[number], plate)) for number, mark in after.items()]
    there.sort(key=lambda pair: pair[0].fate != "moved")
    in_the_way = [mark for _, mark in (*there, *absent)]
    flags = {flag.mark.spot.id: flag for flag in place_flags(in_the_way, plate, type_height)}
    clusters = [_cluster(each, mark, None, plate, work) for each, mark in absent]
    for each, mark in there:
        origin = before.get(each.before_id) if each.before_id is not None else None
        cluster = _cluster(each, mark, origin, plate, work)
        flag = flags.get(mark.spot.id)
        number = flag_shapes(flag, plate.unit, type_height) if flag else ()
        clusters.append(
            replace(cluster, shapes=(*cluster.shapes, *number), name=f"mark-{mark.spot.id}")
        )
    return tuple(clusters)


def _both(one: Step) -> tuple[Spot, ...]:
    """Return the marks of both states, which are drawn at one scale."""
    return (*one.before.spots, *one.after.spots)


def _as_grain(mark: Mark, plate: Plate, magnification: float) -> Mark:
    """Return a fibre as high as the round grain that takes as much light: a fate has one shape."""
    if mark.spot.kind != "fibre" or is_area(mark.spot):
        return mark
    radius = as_grain_um(mark.spot) * (plate.per_um or 0.0) * magnification / 2
    return replace(mark, half_height=radius)


def _drawn(mark: Mark, each: Fated, plate: Plate) -> Mark:
    """Return a mark as large as its sign is drawn, so that numbers keep off it and reach it."""
    if each.is_on_lens:
        return mark
    radius = sign_radius(each.fate, mark.half_height, plate.unit)
    return replace(mark, radius=radius)


def _cluster(
    each: Fated, mark: Mark, origin: Mark | None, plate: Plate, work: WorkSettings
) -> Cluster:
    what = (
        mark_words(mark, plate, work)
        if each.is_there
        else f"{place_words(mark.spot, plate)}; in the earlier shot only"
    )
    return Cluster(
        shapes=_sign(each, mark, origin, plate.unit), title=f"{each.fate.capitalize()}. {what}"
    )


def _sign(each: Fated, mark: Mark, origin: Mark | None, unit: float) -> tuple[Shape, ...]:
    if each.is_on_lens:
        return lens_glyph(mark.at, (mark.radius, mark.half_height), unit, is_there=each.is_there)
    sign = Sign(
        fate=each.fate,
        at=mark.at,
        radius=mark.half_height,
        came_from=origin.at if origin and each.fate == "moved" else None,
        shows=mark.shows,
        is_crowded=mark.is_crowded,
    )
    return fate_glyph(sign, unit)


def _panel(one: Step, plate: Plate, work: WorkSettings, corner: Point) -> Column:
    column = panel_column(plate, corner)
    column.rule()
    add_signs(column, step_signs(one, plate.unit, work), plate.unit)
    column.gap(0.5)
    add_scale(column, _both(one), plate, sign_scale_words)
    column.text(unit_words(plate), tone=Tone.QUIET)
    if one.n_steps > 1:
        column.gap(0.3)
        column.text(ONE_STEP_WORDS.format(one.number), tone=Tone.QUIET)
    if one.change.registration.reason:
        column.gap(0.3)
        column.text(laid_words(one.change.registration), tone=Tone.QUIET)
    if one.after.spots:
        column.gap(0.4)
        column.rule()
        add_worst(column, one.after, plate, work)
    return column
