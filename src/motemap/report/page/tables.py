"""The tables of a page, every one with a caption and with headings that name their scope."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from motemap.facts.stops import DEPTH_AT_LABELS, write_f
from motemap.report.pictures.markup import escape
from motemap.report.pictures.plate import place_cells
from motemap.report.pictures.words import SEEN_WORDS, none_words, shows_from_words, what_words
from motemap.report.words import UNKNOWN, say_check, say_percent
from motemap.showing import (
    aperture_words,
    can_forecast,
    condition_words,
    is_on_sensor,
    order_words,
    shows,
    shows_on_sensor,
    told_showing,
    worst_first,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from motemap.records import FrameReport, ShotCheck, Spot
    from motemap.report.pictures.plate import Plate
    from motemap.settings import WorkSettings

MOST_ROWS = 40
"""Marks in the open table; the others are one click away."""

SHORT_HEADINGS = ("", "", "left", "top", "depth", "from", "shows")
"""Headings of the table of marks where there is little room; none where the cell says it."""

OUTCOME_WORDS = {"ok": "good", "warn": "mind", "fail": "failed"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A column: its name, and whether it holds numbers."""

    name: str
    is_number: bool = False


def table(caption: str, headings: Sequence[Heading], rows: Iterable[str]) -> str:
    """Return a table; `caption` is plain text, `rows` are markup."""
    cells = "".join(
        f'<th scope="col"{_kind(is_number=heading.is_number)}>{escape(heading.name)}</th>'
        for heading in headings
    )
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(caption)}"><table>'
        f"<caption>{escape(caption)}</caption><thead><tr>{cells}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _kind(*, is_number: bool) -> str:
    return ' class="n"' if is_number else ""


def cell(text: str, *, is_number: bool = False) -> str:
    """Return a cell of plain text."""
    return f"<td{_kind(is_number=is_number)}>{escape(text)}</td>"


def row_heading(markup: str, *, is_number: bool = False) -> str:
    """Return the cell that names its row."""
    return f'<th scope="row"{_kind(is_number=is_number)}>{markup}</th>'


def spot_tables(report: FrameReport, plate: Plate, work: WorkSettings, prefix: str) -> str:
    """Return the marks, worst first; those past `MOST_ROWS` folded away."""
    ranked, has_forecast = worst_first(report.spots, work), can_forecast(report)
    if not ranked:
        return f"<p>{escape(none_words(report))}.</p>"
    is_judged = report.state == "judged"
    what = "Marks" if is_judged else f"{SEEN_WORDS.capitalize()}: marks"
    where = "from the edges of the sensor as seen on the map" if plate.is_sensor else "in px"
    is_width = any(spot.particle_um is None and spot.kind != "fibre" for spot in ranked)
    width = ", of what has no size the width of its shadow" if is_width else ""
    since = " From: the widest aperture at which it shows." if has_forecast else ""
    ways = _Ways(
        plate=plate,
        work=work,
        prefix=prefix,
        has_forecast=has_forecast,
        showing=told_showing(report, work) if is_judged else None,
    )
    first = _spot_table(
        f"{what}, {order_words(ranked, work, has_forecast=has_forecast)}; places {where}. Size: the"
        f" opaque round grain that takes as much light, of a fibre its length{width}. Depth: light lost in"
        f" this shot.{since}",
        ranked[:MOST_ROWS],
        ways,
    )
    rest = ranked[MOST_ROWS:]
    if not rest:
        return first
    folded = _spot_table("The other marks", rest, ways)
    n_showing = sum(spot.id in (ways.showing or ()) for spot in rest)
    of_them = f", {n_showing} of them showing" if is_judged else ""
    return f"{first}<details><summary>{len(rest)} more marks{of_them}</summary>{folded}</details>"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ways:
    """How all the marks of a frame are written down.

    `showing` are the ids of those that show; None where they were seen, not judged.
    """

    plate: Plate
    work: WorkSettings
    prefix: str
    has_forecast: bool
    showing: frozenset[int] | None


def _spot_table(caption: str, spots: Sequence[Spot], ways: _Ways) -> str:
    is_placed = ways.plate.is_sensor
    across, down = ("Left mm", "Top mm") if is_placed else ("Column px", "Row px")
    aperture = aperture_words(ways.work, has_forecast=ways.has_forecast)
    headings = (
        Heading(name="No.", is_number=True),
        Heading(name="Mark"),
        Heading(name=across, is_number=True),
        Heading(name=down, is_number=True),
        Heading(name="Depth", is_number=True),
        Heading(name="From", is_number=True),
        Heading(name=f"At {aperture}"),
    )
    rows = (_spot_row(spot, ways) for spot in spots)
    return table(caption, headings, rows)


def _spot_row(spot: Spot, ways: _Ways) -> str:
    plate, prefix = ways.plate, ways.prefix
    is_shown = spot.id in (ways.showing or ())
    places = place_cells(plate, spot)
    link = f'<a href="#{prefix}k{spot.id}">{spot.id}</a>'
    return (
        f'<tr id="{prefix}m{spot.id}" tabindex="-1"{_shown(is_shown=is_shown)}>'
        f"{row_heading(link, is_number=True)}<td>{_what(spot, plate)}</td>"
        f"{cell(places[0], is_number=True)}{cell(places[1], is_number=True)}"
        f"{cell(say_percent(spot.depth_frac), is_number=True)}"
        f"{cell(shows_from_words(spot), is_number=True)}{cell(_showing(spot, ways))}"
        "</tr>"
    )


def _shown(*, is_shown: bool) -> str:
    return ' class="shows"' if is_shown else ""


def _showing(spot: Spot, ways: _Ways) -> str:
    if ways.showing is None:
        return "not judged"
    if not shows(spot, ways.work):
        return "no"
    return "yes" if is_on_sensor(spot) else "yes, on the lens"


def _what(spot: Spot, plate: Plate) -> str:
    what = escape(what_words(spot))
    # Place words are those of an upright camera and would mislead in any other view.
    is_upright = plate.is_sensor and not (plate.view.quarter_turns or plate.view.is_mirrored)
    place = (spot.place or "") if is_upright else ""
    layer = "under the glass" if spot.layer == "inside" else ""
    more = "; ".join(part for part in (place, layer, *spot.reasons) if part)
    return f"{what}<small>{escape(more)}</small>" if more else what


def forecast_table(report: FrameReport, work: WorkSettings) -> str:
    """Return how many marks show at each aperture, and the deepest of them.

    Nothing where nothing can be forecast.
    """
    spots = [spot for spot in report.spots if spot.depth_at is not None]
    if not spots or not can_forecast(report):
        return ""
    headings = (
        Heading(name="Aperture"),
        Heading(name="Marks that show"),
        Heading(name="Deepest", is_number=True),
    )
    counts = {label: _n_showing(spots, work, label) for label in _labels(work)}
    most = max(counts.values()) or 1
    rows = (_forecast_row(label, counts[label], most, spots, work) for label in counts)
    condition = condition_words(work, has_forecast=True)
    caption = f"Marks on the sensor that show, {condition}, by aperture of the picture"
    return table(caption, headings, rows)


def _labels(work: WorkSettings) -> list[str]:
    labels = {*DEPTH_AT_LABELS, f"{work.shoot_at_f:g}"}
    return sorted(labels, key=float)


def _n_showing(spots: Sequence[Spot], work: WorkSettings, label: str) -> int:
    at_aperture = replace(work, shoot_at_f=float(label))
    return sum(shows_on_sensor(spot, at_aperture) for spot in spots)


def _forecast_row(
    label: str, count: int, most: int, spots: Sequence[Spot], work: WorkSettings
) -> str:
    depths = [
        (spot.depth_at[label], spot.id)
        for spot in spots
        if spot.depth_at and label in spot.depth_at and is_on_sensor(spot)
    ]
    deepest = max(depths, default=None, key=lambda depth: depth[0])
    said = "-" if deepest is None else f"{say_percent(deepest[0])} (no. {deepest[1]})"
    is_now = float(label) == work.shoot_at_f
    aperture = escape(write_f(float(label))) + (" (yours)" if is_now else "")
    bar = f'<span class="bar" style="width:{100 * count / most:.0f}%"></span>' if count else ""
    return (
        f"<tr{' class=now' if is_now else ''}>{row_heading(aperture)}"
        f'<td><span class="tally"><span>{count}</span>{bar}</span></td>'
        f"{cell(said, is_number=True)}</tr>"
    )


def check_table(checks: Sequence[ShotCheck]) -> str:
    """Return the shot checks, those with something to say first."""
    if not checks:
        return ""
    headings = tuple(
        Heading(name=name) for name in ("Check", "Outcome", "Found", "Wanted", "Advice")
    )
    rank = {"fail": 0, "warn": 1, "ok": 2}
    ranked = sorted(checks, key=lambda check: rank[check.outcome])
    return table("Is this test shot fit to judge by?", headings, map(_check_row, ranked))


def _check_row(check: ShotCheck) -> str:
    value = UNKNOWN if check.value is None else say_check(check.name, check.value)
    return (
        f"<tr>{row_heading(escape(check.name))}{cell(OUTCOME_WORDS[check.outcome])}"
        f"{cell(value)}{cell(check.wanted)}{cell(check.advice or '')}</tr>"
    )
