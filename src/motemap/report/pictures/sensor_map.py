"""The sensor map: where the marks lie, as the person at the bench sees them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.pictures.glyphs import glyph
from motemap.report.pictures.labels import flag_shapes, place_flags
from motemap.report.pictures.marks import marks_for
from motemap.report.pictures.panel import TYPE_UNITS, foot, head, lead_words, panel
from motemap.report.pictures.plate import plate_for, seen_mm
from motemap.report.pictures.raster import png_bytes
from motemap.report.pictures.rulers import ground, rulers
from motemap.report.pictures.scene import Cluster, Sheet
from motemap.report.pictures.svg import svg_element, svg_file
from motemap.report.pictures.swab import stroke_for, swab_shapes
from motemap.report.pictures.view import FACING
from motemap.report.pictures.words import SEEN_WORDS, shot_words, verdict_words, what_words
from motemap.settings import WorkSettings
from motemap.showing import aperture_words, is_forecast, is_on_sensor

if TYPE_CHECKING:
    from motemap.records import FrameReport, Spot
    from motemap.report.pictures.marks import Mark
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Shape
    from motemap.report.pictures.view import Hold

MARGIN_UNITS = 3.0
RULER_UNITS = 5.2
PIXEL_RULER_UNITS = 10.0
SWAB_UNITS = 10.4
HEAD_UNITS = 20.0
FOOT_UNITS = 4.5
NUMBER_UNITS = 2.2
PAGE_NUMBER_UNITS = 2.6
PAGE_TYPE_UNITS = 2.2
"""Measures of the sheet; a unit is a hundredth of the sensor's longer side."""

PNG_WIDTH_PX = 2400


def sensor_map_svg(
    report: FrameReport, *, work: WorkSettings | None = None, hold: Hold = FACING
) -> str:
    """Return the sensor map as an SVG file, a whole sheet to print.

    Parameters
    ----------
    work : WorkSettings, optional
        The aperture the photographer works at decides which marks show.
    hold : Hold
        How the body is held; marks, rulers and the body's outline follow it.

    Raises
    ------
    OutputError
        If the picture could not be read.
    """
    return svg_file(map_sheet(report, work=work or WorkSettings(), hold=hold))


def sensor_map_png(
    report: FrameReport,
    *,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
    width_px: int = PNG_WIDTH_PX,
) -> bytes:
    """Return the sensor map as a PNG file; see `sensor_map_svg`."""
    sheet = map_sheet(report, work=work or WorkSettings(), hold=hold)
    return png_bytes(sheet, width_px=width_px)


def map_sheet(report: FrameReport, *, work: WorkSettings, hold: Hold) -> Sheet:
    """Return the sheet behind the map."""
    plate = plate_for(report, hold)
    unit = plate.unit
    swab = _swab(report, plate, TYPE_UNITS)
    is_level = plate.width >= plate.height
    beside = (SWAB_UNITS if swab else RULER_UNITS) * unit
    left = -(beside if is_level else RULER_UNITS * unit)
    top = -(HEAD_UNITS + (0.0 if is_level or not swab else SWAB_UNITS - RULER_UNITS)) * unit
    right = plate.width + (RULER_UNITS * unit if is_level else beside)
    below = plate.height + (beside if is_level else RULER_UNITS * unit)
    column = panel(report, plate, work, (right, top))
    bottom = max(below, column.down) + FOOT_UNITS * unit
    margin = MARGIN_UNITS * unit
    return Sheet(
        left=left - margin,
        top=top - margin,
        width=column.left + column.width - left + 2 * margin,
        height=bottom - top + 2 * margin,
        title=f"Sensor map of {shot_words(report)}",
        summary=map_summary(report, plate, work),
        shapes=(
            *head(report, plate, work, (left, top)),
            *ground(plate),
            *rulers(plate, TYPE_UNITS * unit),
            *swab,
            *mark_clusters(report, plate, work),
            *column.shapes,
            *foot((left, bottom), unit, has_method=bool(swab)),
        ),
    )


def plate_element(report: FrameReport, *, work: WorkSettings, hold: Hold, prefix: str) -> str:
    """Return the bare map as an element of a page: sensor, rulers, marks that link to rows."""
    plate = plate_for(report, hold)
    swab = _swab(report, plate, PAGE_TYPE_UNITS)
    left, top, right, bottom = page_room(plate, has_swab=bool(swab))
    sheet = Sheet(
        left=-left,
        top=-top,
        width=left + plate.width + right,
        height=top + plate.height + bottom,
        title=f"Sensor map: {plate.view.words}",
        summary=map_summary(report, plate, work),
        shapes=(
            *ground(plate),
            *rulers(plate, PAGE_TYPE_UNITS * plate.unit),
            *swab,
            *mark_clusters(report, plate, work, prefix=prefix),
        ),
    )
    return svg_element(sheet, prefix=prefix)


def page_room(plate: Plate, *, has_swab: bool) -> tuple[float, float, float, float]:
    """Return the room left of, above, right of and below the plate [scene units]."""
    ruler, slim = RULER_UNITS * 1.1 * plate.unit, RULER_UNITS * 0.5 * plate.unit
    if not plate.is_sensor:
        # Numbers of pixels are longer than those of millimetres.
        return PIXEL_RULER_UNITS * plate.unit, ruler, PIXEL_RULER_UNITS / 2 * plate.unit, slim
    if not has_swab:
        return ruler, ruler, slim, slim
    beside, path = SWAB_UNITS * 1.15 * plate.unit, SWAB_UNITS * 0.85 * plate.unit
    if plate.width >= plate.height:
        return beside, ruler, slim, path
    return ruler, beside, path, ruler


def _swab(report: FrameReport, plate: Plate, type_units: float) -> tuple[Shape, ...]:
    stroke = stroke_for(report) if plate.is_sensor else None
    if stroke is None:
        return ()
    return swab_shapes(stroke, plate, type_units * plate.unit)


def mark_clusters(
    report: FrameReport, plate: Plate, work: WorkSettings, *, prefix: str | None = None
) -> tuple[Shape, ...]:
    """Return every mark, then every number; marks link to rows where `prefix` is given."""
    marks = marks_for(report, plate, work)
    type_height = (PAGE_NUMBER_UNITS if prefix else NUMBER_UNITS) * plate.unit
    flags = {flag.mark.spot.id: flag for flag in place_flags(marks, plate, type_height)}
    clusters = []
    for mark in marks:
        flag = flags.get(mark.spot.id)
        number = flag_shapes(flag, plate.unit, type_height) if flag else ()
        clusters.append(
            Cluster(
                shapes=(*number, *glyph(mark, plate.unit)),
                title=mark_words(mark, plate, work, is_judged=report.state == "judged"),
                name=f"{prefix}k{mark.spot.id}" if prefix else f"mark-{mark.spot.id}",
                link=f"{prefix}m{mark.spot.id}" if prefix else None,
                is_stop=mark.is_numbered,
            )
        )
    numbered = [cluster for cluster in clusters if cluster.is_stop]
    # On top of the others, and worst first: that is the order in which the tab key stops.
    return (*(each for each in clusters if not each.is_stop), *reversed(numbered))


def mark_words(mark: Mark, plate: Plate, work: WorkSettings, *, is_judged: bool = True) -> str:
    """Return what a mark is and where, as seen, and whether it shows, for tooltips."""
    if not is_judged:
        return f"{place_words(mark.spot, plate)}; {SEEN_WORDS}"
    if not is_on_sensor(mark.spot):
        return f"{place_words(mark.spot, plate)}; on the lens, not the sensor"
    showing = "shows" if mark.shows else "does not show"
    aperture = aperture_words(work, has_forecast=is_forecast([mark.spot]))
    return f"{place_words(mark.spot, plate)}; {showing} at {aperture}"


def place_words(spot: Spot, plate: Plate) -> str:
    """Return what a mark is and where, as seen."""
    seen = seen_mm(plate, spot)
    at = f", {seen[0]:.1f} mm from the left, {seen[1]:.1f} mm from the top" if seen else ""
    return f"Mark {spot.id}: {what_words(spot)}{at}"


def map_summary(report: FrameReport, plate: Plate, work: WorkSettings) -> str:
    """Return what a map says, in two sentences."""
    return f"{verdict_words(report.verdict)}. {lead_words(report, work)}. {plate.view.words}."
