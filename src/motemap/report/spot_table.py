"""The table of spots of one frame, worst first, and where to look on the sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.report.plain import printable
from motemap.report.words import (
    UNKNOWN,
    count,
    paragraph,
    say_f,
    say_mm,
    say_percent,
    say_um,
    shown_um,
)
from motemap.showing import (
    can_forecast,
    condition_words,
    is_on_sensor,
    order_words,
    shows,
    told_showing,
    worst_first,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport, Spot
    from motemap.settings import Settings, WorkSettings

INDENT: Final = "  "
SHOWS: Final = "#"
"""Stands before a spot on the sensor that shows at the photographer's aperture."""

ROW: Final = "{:1} {:>3} {:>5} {:>5}  {:<22} {:>9} {:>6}  {:<7}  {}"
"""Mark, number, two positions, place, size, depth, kind, and from where it shows."""

MOST_PLACES: Final = 6
"""Places named where to look, those with most spots first."""

PLACE_COLUMNS: Final = 22
WIDTH_WORDS: Final = ", of what has no size the width of its shadow"
SIZE_WORDS: Final = "um: the opaque round grain that takes as much light, of fibres width x length"


def spot_lines(frame: FrameReport, settings: Settings, *, view: str, most_rows: int) -> list[str]:
    """Return the table with its heading and closing remarks, each line fit for a terminal."""
    work = settings.work
    ranked = worst_first(frame.spots, work)
    is_placed = any(spot.from_left_mm is not None for spot in frame.spots)
    lines = _heading(frame, work, view=view, is_placed=is_placed)
    showing = told_showing(frame, work)
    told = work if frame.state == "judged" else None
    for spot in ranked[:most_rows]:
        mark = SHOWS if spot.id in showing else ""
        lines.append(_row(spot, told, mark, is_placed=is_placed))
    left_out = len(ranked) - most_rows
    if left_out > 0:
        n_showing = sum(spot.id in showing for spot in ranked[most_rows:])
        of_them = f", {n_showing} of them showing" if frame.state == "judged" else ""
        said = f"{count(left_out, 'more mark')} left out here{of_them}; JSON and CSV list all."
        lines += paragraph(said, first=INDENT)
    return lines + _where_to_look([spot for spot in ranked if spot.id in showing])


def _heading(frame: FrameReport, work: WorkSettings, *, view: str, is_placed: bool) -> list[str]:
    has_forecast = can_forecast(frame)
    is_judged = frame.state == "judged"
    what = "Marks" if is_judged else "Seen, not judged: marks"
    rule = f"; {SHOWS} shows there, {condition_words(work, has_forecast=has_forecast)}"
    said = (
        f"{what}, {order_words(frame.spots, work, has_forecast=has_forecast)}"
        f"{rule if is_judged else ''}; {_size_words(frame.spots)}; depth: light lost in this shot"
    )
    if has_forecast:
        said += "; from: the widest aperture at which it shows"
    if is_placed:
        said += f". Left, top: mm from the edges of the sensor, the camera {view}."
        across, down = "left", "top"
    else:
        said += ". Col, row: in the picture as stored; the place on the sensor is unknown."
        across, down = "col", "row"
    names = ("", "no", across, down, "place", "um", "depth", "kind", "from")
    return [*paragraph(said, first=INDENT), ROW.format(*names)]


def _size_words(spots: Sequence[Spot]) -> str:
    """Say what is given as size; a shadow's width is none, and said where it stands in for one."""
    is_width = any(spot.particle_um is None and spot.kind != "fibre" for spot in spots)
    return f"{SIZE_WORDS}{WIDTH_WORDS if is_width else ''}"


def _row(spot: Spot, work: WorkSettings | None, mark: str, *, is_placed: bool) -> str:
    """Return the row of a mark; without `work` nothing is said of whether it shows."""
    if is_placed:
        where = (say_mm(spot.from_left_mm), say_mm(spot.from_top_mm))
    else:
        where = (f"{spot.image_x_px:.0f}", f"{spot.image_y_px:.0f}")
    cells = (
        mark,
        spot.id,
        *where,
        printable(spot.place or UNKNOWN)[:PLACE_COLUMNS],
        _size(spot),
        say_percent(spot.depth_frac),
        spot.kind,
        _from(spot, work),
    )
    return ROW.format(*cells).rstrip()


def _from(spot: Spot, work: WorkSettings | None) -> str:
    if not is_on_sensor(spot):
        return "lens shows" if work is not None and shows(spot, work) else "lens side"
    return "inside" if spot.layer == "inside" else say_f(spot.shows_from_f)


def _size(spot: Spot) -> str:
    if spot.kind == "fibre" and spot.length_um is not None:
        return f"{say_um(spot.particle_um)} x {say_um(spot.length_um)}"
    return say_um(shown_um(spot))


def _where_to_look(showing: Sequence[Spot]) -> list[str]:
    places: dict[str, int] = {}
    for spot in showing:
        if spot.place is not None:
            places[spot.place] = places.get(spot.place, 0) + 1
    if not places:
        return []
    ranked = sorted(places.items(), key=lambda item: (-item[1], item[0]))
    said = "; ".join(f"{place} ({number})" for place, number in ranked[:MOST_PLACES])
    elsewhere = sum(number for _, number in ranked[MOST_PLACES:])
    said += f"; elsewhere ({elsewhere})" if elsewhere else ""
    return paragraph(said, first=f"{INDENT}Look at: ")
