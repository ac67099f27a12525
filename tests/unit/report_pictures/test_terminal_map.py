"""The small map of plain characters."""

import pytest

from motemap.coords import SensorPoint
from motemap.place import HOLDS, Hold, held_size, to_hold
from motemap.records import FrameReport
from motemap.report.pictures.terminal_map import terminal_map
from picturing.bench import (
    MEDIUM,
    SMALL,
    Chip,
    dusty,
    mark,
    numbered,
    report,
    sizeless,
    turned,
    unreadable,
)


def plate_rows(text: str) -> list[str]:
    """Return what stands between the upright lines of an ASCII map."""
    return [line.split("|", 1)[1].rsplit("|", 1)[0] for line in text.splitlines() if "|" in line]


@pytest.mark.parametrize("columns", [30, 60, 79, 80, 200])
@pytest.mark.parametrize("hold", [HOLDS[0], HOLDS[4], HOLDS[6]], ids=lambda hold: hold.name)
@pytest.mark.parametrize("chip", [MEDIUM, SMALL], ids=lambda chip: chip.name)
def test_it_fits_the_terminal(columns: int, hold: Hold, chip: Chip) -> None:
    for unicode_ok in (True, False):
        text = terminal_map(dusty(60, chip=chip), columns, unicode_ok=unicode_ok, hold=hold)
        lines = text.splitlines()
        assert max(map(len, lines)) <= columns
        assert len(lines) <= 36
        assert not any(line != line.rstrip() for line in lines)


def test_plain_characters_are_plain() -> None:
    assert terminal_map(dusty(60), 80, unicode_ok=False).isascii()
    assert not terminal_map(dusty(60), 80, unicode_ok=True).isascii()


@pytest.mark.parametrize("hold", HOLDS, ids=lambda hold: hold.name)
def test_marks_stand_in_the_cell_of_their_place(hold: Hold) -> None:
    frame = report(numbered([mark(9.003, 20.997, 60.0), mark(30.0, 3.0, 8.0)]))
    assert frame.sensor is not None
    rows = plate_rows(terminal_map(frame, 80, unicode_ok=False, hold=hold))
    width_mm, height_mm = held_size(frame.sensor, hold)
    for sign, left_mm, top_mm in (("1", 9.003, 20.997), (".", 30.0, 3.0)):
        point = SensorPoint(from_left_mm=left_mm, from_top_mm=top_mm)
        seen = to_hold(point, frame.sensor, hold)
        line = int(seen.from_top_mm / height_mm * len(rows))
        column = int(seen.from_left_mm / width_mm * len(rows[0]))
        assert rows[line][column] == sign


def test_the_plate_is_nearly_in_proportion() -> None:
    rows = plate_rows(terminal_map(dusty(12), 80, unicode_ok=False))
    # A cell is twice as high as wide; lines are whole, so half a line may be missing.
    assert len(rows) == pytest.approx(len(rows[0]) * 24 / 36 / 2, abs=0.5)


def test_the_worst_of_a_cell_wins() -> None:
    frame = report(numbered([mark(9.0, 9.0, 60.0), mark(9.01, 9.01, 8.0), mark(9.02, 9.0, 30.0)]))
    rows = plate_rows(terminal_map(frame, 80, unicode_ok=False))
    assert "".join(rows).split() == ["1"]


def test_marks_past_nine_are_signs() -> None:
    frame = report(numbered([mark(3.0 * place, 12.0, 60.0) for place in range(1, 12)]))
    rows = plate_rows(terminal_map(frame, 80, unicode_ok=False))
    signs = "".join("".join(rows).split())
    assert sorted(signs) == ["#", "#", *"123456789"]


@pytest.mark.parametrize(
    "frame",
    [dusty(0), turned(dusty(3)), sizeless(dusty(3)), unreadable()],
    ids=["clean", "turned", "sizeless", "unreadable"],
)
def test_it_says_nothing_where_it_knows_nothing(frame: FrameReport) -> None:
    assert terminal_map(frame, 80, unicode_ok=True) == ""


def test_a_narrow_terminal_gets_none() -> None:
    assert terminal_map(dusty(3), 25, unicode_ok=True) == ""
