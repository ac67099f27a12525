"""The forecast for a person: what would show at each aperture, and which marks are worst."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.facts.showing import EYE_SOURCE, showing_words
from motemap.report.forecast_table import worst_lines
from motemap.report.words import count, paragraph, say_exposure, say_mm, say_um
from motemap.showing import can_forecast

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from motemap.records import FrameReport, Spot
    from motemap.settings import Settings
    from motemap.tallies import ApertureTally

INDENT: Final = "  "
NO_APERTURE: Final = "the f-number of the test shot, which is not in its file"
NO_SIZE: Final = "the size of the sensor (give it with --sensor)"
"""What a forecast cannot do without, where it is missing."""


def render(report: FrameReport, rows: Sequence[ApertureTally], settings: Settings) -> str:
    """Return the forecast as text, ending in a line feed."""
    blocks = [
        [*paragraph(report.file), *_about(report, rows, settings)],
        worst_lines(rows) if report.spots and can_forecast(report) else [],
        _named(report, rows),
        _left_out(report, rows),
        [line for note in report.notes for line in paragraph(note, first=f"{INDENT}Note      ")],
    ]
    lines = [line for block in blocks if block for line in (*block, "")]
    return "\n".join(lines[:-1]) + "\n"


def _about(report: FrameReport, rows: Sequence[ApertureTally], settings: Settings) -> Iterable[str]:
    if report.error is not None:
        return [
            *paragraph(report.error.cause, first=INDENT),
            *paragraph(report.error.repair, first=INDENT),
        ]
    lines = paragraph(f"Test shot: {say_exposure(report.exposure)}.", first=INDENT)
    if report.state == "reshoot" and report.verdict is not None:
        lines += paragraph("Not fit to forecast from:", first=INDENT)
        for reason in report.verdict.reasons:
            lines += paragraph(reason, first=INDENT)
    if rows:
        lines += paragraph(_found(report, settings), first=INDENT)
    return lines


def _found(report: FrameReport, settings: Settings) -> str:
    n_found = len(report.spots)
    were = "was" if n_found == 1 else "were"
    found = f"{count(n_found, 'mark')} {were} found" if n_found else "No mark was found"
    if not can_forecast(report):
        return f"{found}. Pictures at other apertures are without a forecast{_takes(report)}."
    if not n_found:
        return f"{found}: nothing is known that would show at any aperture."
    source = f" ({EYE_SOURCE})" if settings.work.view else ""
    return f"{found}. Those that show, {showing_words(settings.work)}{source}, by aperture:"


def _takes(report: FrameReport) -> str:
    """Return what is missing for a forecast, as a clause."""
    pitch_um = None if report.sensor is None else report.sensor.pitch_um
    missing = [NO_APERTURE] if report.exposure.f_number is None else []
    missing += [NO_SIZE] if pitch_um is None else []
    return f": that takes {' and '.join(missing)}" if missing else ""


def _named(report: FrameReport, rows: Sequence[ApertureTally]) -> list[str]:
    """Say what the worst marks are, each once."""
    spots = {spot.id: spot for spot in report.spots}
    numbers = sorted({number for row in rows for number in row.worst})
    width = max((len(str(number)) for number in numbers), default=1)
    return [
        line
        for number in numbers
        for line in paragraph(_what(spots[number]), first=f"{INDENT}no {number:>{width}}  ")
    ]


def _what(spot: Spot) -> str:
    parts = [_kind_and_size(spot), spot.place or ""]
    if spot.from_left_mm is not None and spot.from_top_mm is not None:
        left, top = say_mm(spot.from_left_mm), say_mm(spot.from_top_mm)
        parts.append(f"{left} mm from the left, {top} mm from the top")
    return ", ".join(part for part in parts if part)


def _kind_and_size(spot: Spot) -> str:
    if spot.particle_um is None:
        return f"{spot.kind}, its shadow about {say_um(spot.width_um)} um wide"
    along = f" x {say_um(spot.length_um)}" if spot.kind == "fibre" else ""
    return f"{spot.kind} of about {say_um(spot.particle_um)}{along} um"


def _left_out(report: FrameReport, rows: Sequence[ApertureTally]) -> list[str]:
    """Say what the counts do not hold."""
    if not can_forecast(report):
        return []
    said = []
    n_lens = sum(spot.layer == "lens side" for spot in report.spots)
    if n_lens:
        said.append(f"{count(n_lens, 'shadow')} from the lens side left out: that is the lens.")
    if rows and rows[0].n_unknown:
        said.append(f"{count(rows[0].n_unknown, 'mark')} without a forecast left out.")
    return [line for each in said for line in paragraph(each, first=INDENT)]
