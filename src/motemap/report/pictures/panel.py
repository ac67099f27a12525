"""What stands round a map: headline, how the body is held, signs, the worst marks, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.facts.stops import write_f
from motemap.report.pictures.body import outline
from motemap.report.pictures.column import Column
from motemap.report.pictures.legend import add_scale, add_signs, signs
from motemap.report.pictures.marks import (
    N_NUMBERED,
    numbered_ids,
)
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.plate import place_cells
from motemap.report.pictures.rulers import unit_words
from motemap.report.pictures.scene import GLYPH_WIDTH_FRAC, Words
from motemap.report.pictures.swab import stroke_for
from motemap.report.pictures.words import (
    SEEN_WORDS,
    camera_words,
    count_words,
    length_words,
    none_words,
    shorten,
    shot_words,
    shows_from_words,
    verdict_words,
    what_words,
)
from motemap.showing import can_forecast, is_on_sensor, shows_on_sensor, told_showing, worst_first

if TYPE_CHECKING:
    from motemap.records import FrameReport, Spot
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape
    from motemap.settings import WorkSettings

PANEL_UNITS = 42.0
PANEL_GAP_UNITS = 3.0
HEADLINE_UNITS = 3.8
LEAD_UNITS = 2.3
TYPE_UNITS = 1.8
BODY_STEP_UNITS = 0.95
COLUMN_ENDS_UNITS = (28.5, 34.5, 42.0)

FOOT_WORDS = (
    "The camera's manual and an authorised service come first. Cleaning mode, full battery,"
    " blow before you wipe, a new swab for every repeat."
)


def head(report: FrameReport, plate: Plate, work: WorkSettings, corner: Point) -> tuple[Shape, ...]:
    """Return the headline: what to do, how much shows, which shot it was."""
    lines = (
        verdict_words(report.verdict),
        lead_words(report, work),
        camera_words(report.camera),
        shot_words(report),
    )
    return headlines(lines, plate, corner)


def headlines(lines: tuple[str, str, str, str], plate: Plate, corner: Point) -> tuple[Shape, ...]:
    """Return a headline and a lead, set smaller where they are long, and two quiet lines, cut."""
    unit, (left, top) = plate.unit, corner
    sizes = (HEADLINE_UNITS, LEAD_UNITS, TYPE_UNITS, TYPE_UNITS)
    room = plate.width - left
    words = []
    for text, units, down in zip(lines, sizes, (3.4, 7.0, 9.9, 12.3), strict=True):
        is_quiet = units == TYPE_UNITS
        fitting = room / (len(text) * GLYPH_WIDTH_FRAC)
        height = units * unit if is_quiet else min(units * unit, fitting)
        words.append(
            Words(
                at=(left, top + down * unit),
                text=shorten(text, int(room / (height * GLYPH_WIDTH_FRAC))) if is_quiet else text,
                height=height,
                tone=Tone.QUIET if is_quiet else Tone.INK,
                is_bold=units == HEADLINE_UNITS,
            )
        )
    return tuple(words)


def lead_words(report: FrameReport, work: WorkSettings) -> str:
    """Return how many marks were found and how many of them show, in a sentence."""
    if not report.spots:
        return none_words(report)
    found = count_words(len(report.spots))
    if report.state != "judged":
        return f"{found} {SEEN_WORDS}; others may be hidden"
    if not can_forecast(report):
        return f"{found} found; from which aperture they show is unknown"
    on_sensor = [spot for spot in report.spots if is_on_sensor(spot)]
    n_lens = len(report.spots) - len(on_sensor)
    n_showing = sum(shows_on_sensor(spot, work) for spot in on_sensor)
    more = f"; {n_lens} more on the lens" if n_lens else ""
    found = count_words(len(on_sensor))
    return f"{n_showing} of {found} would show at {write_f(work.shoot_at_f)}{more}"


def panel(report: FrameReport, plate: Plate, work: WorkSettings, corner: Point) -> Column:
    """Return the column beside the map."""
    column = panel_column(plate, corner)
    if report.spots:
        column.rule()
        add_signs(column, signs(report, plate.unit, work), plate.unit)
        column.gap(0.5)
        add_scale(column, report.spots, plate)
    column.text(unit_words(plate), tone=Tone.QUIET)
    smallest_um = report.sensitivity.smallest_particle_um
    if smallest_um is not None:
        column.text(
            f"Smallest speck it could have shown: {length_words(smallest_um)}", tone=Tone.QUIET
        )
    _add_swab(column, report, plate)
    if report.spots:
        column.gap(0.4)
        column.rule()
        add_worst(column, report, plate, work)
    return column


def panel_column(plate: Plate, corner: Point) -> Column:
    """Return a column beside a map that begins with the body as held."""
    column = Column(
        corner[0] + PANEL_GAP_UNITS * plate.unit,
        corner[1],
        width=PANEL_UNITS * plate.unit,
        type_height=TYPE_UNITS * plate.unit,
    )
    add_body(column, plate)
    return column


def add_body(column: Column, plate: Plate) -> None:
    """Add the body's outline and how it is held, or that the place on the sensor is unknown."""
    if not plate.is_sensor:
        column.text(f"{plate.view.words}. Look for the marks by their look, not their place.")
        column.gap(0.8)
        return
    step = BODY_STEP_UNITS * plate.unit
    type_height = TYPE_UNITS * plate.unit
    shapes, width, height = outline(
        plate.view, (column.left, column.down), step=step, type_height=type_height
    )
    column.shapes.extend(shapes)
    beside = Column(
        column.left + width + 1.5 * plate.unit,
        column.down + 2.4 * plate.unit,
        width=column.width - width - 1.5 * plate.unit,
        type_height=type_height,
    )
    beside.text("How to hold it", is_bold=True)
    beside.text(plate.view.words)
    column.shapes.extend(beside.shapes)
    column.down = max(column.down + height, beside.down)
    column.gap(0.6)


def _add_swab(column: Column, report: FrameReport, plate: Plate) -> None:
    stroke = stroke_for(report) if plate.is_sensor else None
    if stroke and report.verdict:
        wet_now = report.verdict.method == "wet swab"
        column.text(
            stroke.words + ("" if wet_now else ", should it come to that"), tone=Tone.SWAB_LINE
        )


def add_worst(column: Column, report: FrameReport, plate: Plate, work: WorkSettings) -> None:
    """Add the numbered marks, one a row."""
    spots, showing = report.spots, told_showing(report, work)
    unit = plate.unit
    ids = numbered_ids(spots, work)
    ends = tuple(at * unit for at in COLUMN_ENDS_UNITS)
    many = len(spots) > N_NUMBERED
    column.text(f"The {N_NUMBERED} worst" if many else "The numbered marks", is_bold=True)
    if plate.is_sensor:
        column.text("mm from the left and the top edge; shows from", tone=Tone.QUIET)
    heads = ("left", "top", "from") if plate.is_sensor else ("x px", "y px", "from")
    cells = [(at, "end", text) for at, text in zip(ends, heads, strict=True)]
    column.line(cells, tone=Tone.QUIET)
    for spot in worst_first(spots, work):
        if spot.id in ids:
            _add_row(column, spot, plate, is_shown=spot.id in showing)


def _add_row(column: Column, spot: Spot, plate: Plate, *, is_shown: bool) -> None:
    unit = plate.unit
    places = place_cells(plate, spot)
    cells = (
        (3.2 * unit, "end", str(spot.id)),
        (4.4 * unit, "start", what_words(spot)),
        (COLUMN_ENDS_UNITS[0] * unit, "end", places[0]),
        (COLUMN_ENDS_UNITS[1] * unit, "end", places[1]),
        (COLUMN_ENDS_UNITS[2] * unit, "end", shows_from_words(spot)),
    )
    column.line(cells, is_bold=is_shown)


def foot(corner: Point, unit: float, *, has_method: bool) -> tuple[Shape, ...]:
    """Return the line of cautions where cleaning is advised."""
    if not has_method:
        return ()
    return (Words(at=corner, text=FOOT_WORDS, height=TYPE_UNITS * unit, tone=Tone.QUIET),)
