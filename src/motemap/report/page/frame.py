"""All that a page says about one frame, as sections that can stand alone or beside others."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING

from motemap.facts.showing import EYE_SOURCE
from motemap.report.outcome import outcome
from motemap.report.page.document import bullet_list, term_list
from motemap.report.page.signs import held_body, sign_list
from motemap.report.page.tables import check_table, forecast_table, spot_tables
from motemap.report.pictures.contact_strip import strip_words, tile_sheet
from motemap.report.pictures.legend import scale_words
from motemap.report.pictures.markup import escape
from motemap.report.pictures.panel import lead_words
from motemap.report.pictures.plate import plate_for
from motemap.report.pictures.raster import png_bytes
from motemap.report.pictures.rulers import unit_words
from motemap.report.pictures.sensor_map import plate_element
from motemap.report.pictures.swab import stroke_for
from motemap.report.pictures.words import (
    camera_words,
    length_words,
    shot_words,
    shows_from_words,
    verdict_words,
    what_words,
)
from motemap.report.words import SOURCE_PHRASES, say_exposure, say_percent, say_stack_source
from motemap.showing import aperture_words, can_forecast, condition_words, is_forecast

if TYPE_CHECKING:
    from motemap.records import FrameReport, Spot
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.strip import Strip, Tile
    from motemap.report.pictures.view import Hold
    from motemap.settings import WorkSettings

TILE_WIDTH_PX = 260


def verdict_block(report: FrameReport, work: WorkSettings, *, level: int) -> str:
    """Return the verdict with its reasons; `level` is that of its heading."""
    reasons: tuple[str, ...] = ()
    if report.error is not None:
        reasons = (report.error.cause, report.error.repair)
    elif report.verdict is not None:
        reasons = report.verdict.reasons
    lead = f'<p class="lead">{escape(lead_words(report, work))}</p>' if report.image else ""
    return (
        f'<div class="verdict {outcome(report)}">'
        f"<h{level}>{escape(verdict_words(report.verdict))}</h{level}>{lead}"
        f'<p class="quiet names"><bdi>{escape(camera_words(report.camera))}</bdi><br>'
        f"<bdi>{escape(shot_words(report))}</bdi></p>{bullet_list(reasons)}</div>"
    )


def caution_block(report: FrameReport, *, level: int) -> str:
    """Return what to beware of before cleaning; nothing where no cleaning is advised."""
    if report.verdict is None or not report.verdict.cautions:
        return ""
    return (
        '<section class="cautions" aria-label="Cautions">'
        f"<h{level}>Before you clean</h{level}>{bullet_list(report.verdict.cautions)}</section>"
    )


def frame_sections(
    report: FrameReport,
    *,
    work: WorkSettings,
    hold: Hold,
    strip: Strip | None,
    prefix: str,
    level: int = 2,
) -> str:
    """Return map, strip, marks, forecast, shot checks and measurements of a frame.

    Parameters
    ----------
    strip : Strip or None
        The worst marks magnified; left out when None.
    prefix : str
        Begins every identifier, so that a page can hold several frames.
    level : int
        Level of the sections' headings.
    """
    if report.image is None:
        return ""
    plate = plate_for(report, hold)
    sections = (
        ("Where the marks lie", _map(report, plate, work, hold, prefix)),
        ("The worst marks, magnified", _strip(strip) if strip and strip.tiles else ""),
        ("The marks", spot_tables(report, plate, work, prefix)),
        ("What would show in pictures", forecast_table(report, work)),
        ("The test shot", check_table(report.shot_checks)),
        ("How it was measured", term_list(_measures(report, work))),
        ("Notes", bullet_list(report.notes)),
    )
    return "\n".join(
        f"<section><h{level}>{escape(heading)}</h{level}>\n{markup}\n</section>"
        for heading, markup in sections
        if markup
    )


def _map(report: FrameReport, plate: Plate, work: WorkSettings, hold: Hold, prefix: str) -> str:
    lines = [unit_words(plate)]
    scale = scale_words(report.spots, plate)
    if scale:
        lines.append(scale)
    stroke = stroke_for(report) if plate.is_sensor else None
    if stroke:
        is_now = report.verdict is not None and report.verdict.method == "wet swab"
        when = "" if is_now else ", should it come to a wet swab"
        lines.append(f"{stroke.words}{when}: one stroke across, turned over, one back")
    said = "".join(f"<li>{escape(line)}.</li>" for line in lines)
    return (
        f'<figure class="map" style="--halo:{plate.unit / 2:.0f}px">'
        f"{plate_element(report, work=work, hold=hold, prefix=prefix)}"
        f"<figcaption>{held_body(plate, prefix)}{sign_list(report, work, prefix)}"
        f'<ul class="quiet">{said}</ul></figcaption></figure>'
    )


def _strip(strip: Strip) -> str:
    tiles = "".join(map(_tile, strip.tiles))
    return f'<p>{escape(strip_words(strip))}.</p>\n<ul class="strip">{tiles}</ul>'


def _tile(tile: Tile) -> str:
    spot = tile.spot
    picture = base64.b64encode(png_bytes(tile_sheet(tile), width_px=TILE_WIDTH_PX)).decode("ascii")
    what = what_words(spot)
    return (
        f'<li><figure><img src="data:image/png;base64,{picture}" width="{TILE_WIDTH_PX}"'
        f' height="{TILE_WIDTH_PX}" alt="Mark {spot.id}, {escape(what)}, magnified">'
        f"<figcaption><b>{spot.id}</b> {escape(what)}<br>"
        f"depth {escape(say_percent(spot.depth_frac))}{_since(spot)}</figcaption></figure></li>"
    )


def _since(spot: Spot) -> str:
    return f", shows from {escape(shows_from_words(spot))}" if is_forecast([spot]) else ""


def _measures(report: FrameReport, work: WorkSettings) -> list[tuple[str, str]]:
    return [
        ("Shot", say_exposure(report.exposure)),
        ("Lens", report.camera.lens or "unknown"),
        ("Sensor", _sensor_words(report)),
        ("From dust to photosites", _stack_words(report)),
        ("Could have shown", _limit_words(report)),
        ("Counted as showing", _showing_words(report, work)),
        ("File", report.file),
    ]


def _sensor_words(report: FrameReport) -> str:
    sensor = report.sensor
    if sensor is None or sensor.width_mm is None or sensor.height_mm is None:
        return "size unknown"
    size = f"{sensor.width_mm:.1f} x {sensor.height_mm:.1f} mm"
    name = f"{sensor.format}, " if sensor.format else ""
    return f"{name}{size} ({SOURCE_PHRASES[sensor.source]})"


def _stack_words(report: FrameReport) -> str:
    stack = report.stack
    if stack.distance_mm is None:
        return "unknown"
    band = "" if stack.uncertainty_mm is None else f" ± {stack.uncertainty_mm:.2f}"
    return f"{stack.distance_mm:.2f}{band} mm ({say_stack_source(stack)})"


def _showing_words(report: FrameReport, work: WorkSettings) -> str:
    has_forecast = can_forecast(report)
    source = f" ({EYE_SOURCE})" if work.view and has_forecast else ""
    aperture = aperture_words(work, has_forecast=has_forecast)
    return f"marks {condition_words(work, has_forecast=has_forecast)} at {aperture}{source}"


def _limit_words(report: FrameReport) -> str:
    limit = report.sensitivity
    parts = []
    if limit.smallest_particle_um is not None:
        parts.append(f"a speck of {length_words(limit.smallest_particle_um)}")
    if limit.smallest_depth_frac is not None:
        parts.append(f"{say_percent(limit.smallest_depth_frac)} of the light lost")
    return ", ".join(parts) or "unknown"
