"""The table of spots of one frame, worst first, and where to look on the sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.facts.showing import showing_words
from motemap.facts.stops import write_f
from motemap.report.plain import printable
from motemap.report.words import (
    UNKNOWN,
    count,
    paragraph,
    say_f,
    say_mm,
    say_percent,
    say_um,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport, Spot
    from motemap.settings import Settings, WorkSettings

INDENT: Final = "  "
SHOWS: Final = "#"
"""Stands before a spot that shows at the photographer's aperture."""

ROW: Final = "{:1} {:>3} {:>5} {:>5}  {:<22} {:>9} {:>6}  {:<7}  {}"
"""Mark, number, two positions, place, size, depth, kind, and from where it shows."""

MOST_PLACES: Final = 6
"""Places named where to look, those with most spots first."""

PLACE_COLUMNS: Final = 22
LAYER_WORDS: Final = {"lens side": "lens side", "inside": "inside"}


def shows(spot: Spot, work: WorkSettings) -> bool:
    """Return whether a spot shows at the photographer's aperture, as `counts.showing` has it.

    Where there is no forecast, the depth in the test shot stands in for it. With a way of
    looking at the picture (`work.view`), `Spot.shows_from_f` says what an eye sees.
    """
    if spot.depth_at is None:
        return spot.depth_frac >= work.show_depth_frac
    forecast_frac = None if work.view else spot.depth_at.get(f"{work.shoot_at_f:g}")
    if forecast_frac is not None:
        return forecast_frac >= work.show_depth_frac
    return spot.shows_from_f is not None and spot.shows_from_f <= work.shoot_at_f


def _badness(spot: Spot, work: WorkSettings) -> tuple[bool, bool, int]:
    # What comes from the lens side counts for nothing in the verdict, however deep it is.
    return not shows(spot, work), spot.layer == "lens side", spot.id


def spot_lines(frame: FrameReport, settings: Settings, *, view: str, most_rows: int) -> list[str]:
    """Return the table with its heading and closing remarks, each line fit for a terminal."""
    work = settings.work
    ranked = sorted(frame.spots, key=lambda spot: _badness(spot, work))
    is_placed = any(spot.from_left_mm is not None for spot in frame.spots)
    lines = _heading(settings, view=view, is_placed=is_placed)
    lines += [_row(spot, work, is_placed=is_placed) for spot in ranked[:most_rows]]
    left_out = len(ranked) - most_rows
    if left_out > 0:
        n_showing = sum(shows(spot, work) for spot in ranked[most_rows:])
        said = f"{count(left_out, 'more spot')} left out here, {n_showing} of them showing"
        lines += paragraph(f"{said}; JSON and CSV list all.", first=INDENT)
    lines += _where_to_look([spot for spot in ranked if shows(spot, work)])
    return lines


def _heading(settings: Settings, *, view: str, is_placed: bool) -> list[str]:
    work = settings.work
    said = (
        f"Spots, worst first; {SHOWS} shows at {write_f(work.shoot_at_f)}, "
        f"{showing_words(work)}; from: the widest aperture at which it shows."
    )
    if is_placed:
        said += f" Left, top: mm from the edges of the sensor, the camera {view}."
        across, down = "left", "top"
    else:
        said += " Col, row: in the picture as stored; the place on the sensor is unknown."
        across, down = "col", "row"
    names = ("", "no", across, down, "place", "um", "depth", "kind", "from")
    return [*paragraph(said, first=INDENT), ROW.format(*names)]


def _row(spot: Spot, work: WorkSettings, *, is_placed: bool) -> str:
    if is_placed:
        where = (say_mm(spot.from_left_mm), say_mm(spot.from_top_mm))
    else:
        where = (f"{spot.image_x_px:.0f}", f"{spot.image_y_px:.0f}")
    cells = (
        SHOWS if shows(spot, work) else "",
        spot.id,
        *where,
        printable(spot.place or UNKNOWN)[:PLACE_COLUMNS],
        _size(spot),
        say_percent(spot.depth_frac),
        spot.kind,
        LAYER_WORDS.get(spot.layer) or say_f(spot.shows_from_f),
    )
    return ROW.format(*cells).rstrip()


def _size(spot: Spot) -> str:
    if spot.kind == "fibre" and spot.length_um is not None:
        return f"{say_um(spot.particle_um)} x {say_um(spot.length_um)}"
    return say_um(spot.particle_um if spot.particle_um is not None else spot.width_um)


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
