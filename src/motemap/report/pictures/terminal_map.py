"""A small map of plain characters for a terminal."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.report.pictures.marks import numbered_ids
from motemap.report.pictures.plate import plate_for
from motemap.report.pictures.view import FACING
from motemap.settings import WorkSettings
from motemap.showing import aperture_words, can_forecast, is_on_sensor, shows_on_sensor, worst_first

if TYPE_CHECKING:
    from collections.abc import Iterator

    from motemap.records import FrameReport, Spot
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.view import Hold

CELL_ASPECT: Final = 2.0
"""Height of a terminal's cell over its width; the usual one."""

WIDEST_COLUMNS: Final = 72
NARROWEST_COLUMNS: Final = 24
"""Columns of the plate; below, a map says nothing."""

TALLEST_LINES: Final = 26
EDGE_COLUMNS: Final = 6
"""Columns beside the plate: the ruler on the left and the frame."""

MARGIN: Final = "     "
"""Stands before what is written over and under the plate."""

STEPS: Final = (1, 2, 5, 10, 20, 50)
COLUMNS_PER_NUMBER: Final = 9
LINES_PER_NUMBER: Final = 4
"""Least room between two numbers of a ruler."""

MOST_DIGITS: Final = 9
"""Marks with a number above are drawn with a sign: a cell holds one character."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """The characters of a map."""

    showing: str
    resting: str
    level: str
    upright: str
    corners: str
    tick: str


UNICODE_SIGNS: Final = Signs(
    showing="●", resting="·", level="─", upright="│", corners="┌┐└┘", tick="┬"
)
ASCII_SIGNS: Final = Signs(
    showing="#", resting=".", level="-", upright="|", corners="++++", tick="+"
)


def terminal_map(
    report: FrameReport,
    columns: int,
    *,
    unicode_ok: bool,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
) -> str:
    """Return a map as lines of text; empty where it would say nothing.

    Parameters
    ----------
    columns : int
        Width of the terminal.
    unicode_ok : bool
        Whether the terminal shows box-drawing characters; else pure ASCII is used.

    Returns
    -------
    str
        Lines without a trailing newline, none wider than `columns`. Empty for a picture that
        could not be read, that has no place on the sensor or no marks, and for a terminal too
        narrow.
    """
    if report.image is None or not report.spots:
        return ""
    plate = plate_for(report, hold)
    n_columns, n_lines = _grid_size(plate, columns)
    if not plate.is_sensor or n_columns < NARROWEST_COLUMNS:
        return ""
    work = work or WorkSettings()
    signs = UNICODE_SIGNS if unicode_ok else ASCII_SIGNS
    cells = _cells(report, plate, work, (n_columns, n_lines), signs)
    rows = [
        "".join(cells.get((line, column), " ") for column in range(n_columns))
        for line in range(n_lines)
    ]
    framed = _framed(rows, plate, signs)
    aperture = aperture_words(work, has_forecast=can_forecast(report))
    return "\n".join((*framed, *_key(plate, signs, aperture, columns)))


def _grid_size(plate: Plate, columns: int) -> tuple[int, int]:
    n_columns = min(columns - EDGE_COLUMNS, WIDEST_COLUMNS)
    n_lines = round(n_columns * plate.height / plate.width / CELL_ASPECT)
    if n_lines > TALLEST_LINES:
        n_lines = TALLEST_LINES
        n_columns = round(n_lines * plate.width / plate.height * CELL_ASPECT)
    return n_columns, n_lines


def _cells(
    report: FrameReport, plate: Plate, work: WorkSettings, size: tuple[int, int], signs: Signs
) -> dict[tuple[int, int], str]:
    """Return the character of every cell that has a mark; the worst mark of a cell wins."""
    numbered = numbered_ids(report.spots, work)
    cells: dict[tuple[int, int], str] = {}
    for spot in reversed(worst_first(report.spots, work)):
        if is_on_sensor(spot):
            cells[cell_of(spot, plate, size)] = _sign(spot, numbered, work, signs)
    return cells


def cell_of(spot: Spot, plate: Plate, size: tuple[int, int]) -> tuple[int, int]:
    """Return line and column of a mark on a plate of `size` columns and lines."""
    right, down = plate.point(spot)
    n_columns, n_lines = size
    column = min(max(int(right / plate.width * n_columns), 0), n_columns - 1)
    line = min(max(int(down / plate.height * n_lines), 0), n_lines - 1)
    return line, column


def _sign(spot: Spot, numbered: set[int], work: WorkSettings, signs: Signs) -> str:
    if not shows_on_sensor(spot, work):
        return signs.resting
    if spot.id in numbered and spot.id <= MOST_DIGITS:
        return str(spot.id)
    return signs.showing


def _framed(rows: list[str], plate: Plate, signs: Signs) -> Iterator[str]:
    n_columns, n_lines = len(rows[0]), len(rows)
    across = _ruler(plate.width / plate.per_tick, n_columns, COLUMNS_PER_NUMBER)
    down = _ruler(plate.height / plate.per_tick, n_lines, LINES_PER_NUMBER)
    top_left, top_right, low_left, low_right = tuple(signs.corners)
    yield _numbers(across, n_columns)
    edge = "".join(signs.tick if column in across else signs.level for column in range(n_columns))
    yield f"    {top_left}{edge}{top_right}"
    for line, row in enumerate(rows):
        yield f"{down.get(line, ''):>3} {signs.upright}{row}{signs.upright}"
    yield f"    {low_left}{signs.level * n_columns}{low_right}"


def _ruler(length: float, n_cells: int, n_apart: int) -> dict[int, int]:
    """Return the number [mm] to write at each cell that begins a step of the ruler."""
    per_cell = length / n_cells
    step = next((each for each in STEPS if each / per_cell >= n_apart), STEPS[-1])
    return {
        int(place / per_cell): place
        for place in range(0, int(length) + 1, step)
        if place / per_cell < n_cells
    }


def _numbers(across: dict[int, int], n_columns: int) -> str:
    line = [" "] * n_columns
    for column, number in across.items():
        line[column : column + len(str(number))] = str(number)
    return (MARGIN + "".join(line[:n_columns])).rstrip()


def _key(plate: Plate, signs: Signs, aperture: str, columns: int) -> Iterator[str]:
    """Say what the signs mean, and how the body is held."""
    signs_said = (
        f"digits and {signs.showing} show at {aperture}, {signs.resting} do not; edges in mm"
    )
    for said in (signs_said, plate.view.meaning):
        yield from textwrap.wrap(said, columns, initial_indent=MARGIN, subsequent_indent=MARGIN)
