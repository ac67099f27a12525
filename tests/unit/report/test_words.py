import pytest

from motemap.records import Exposure
from motemap.report.words import (
    WIDTH_COLUMNS,
    paragraph,
    say_check,
    say_exposure,
    say_mm,
    say_percent,
    say_shutter,
    say_um,
    shortened,
    shown_um,
)
from reporting.builders import spot


@pytest.mark.parametrize(
    ("value", "said"),
    [(18.7, "19"), (4.26, "4.3"), (9.96, "10"), (0.0, "0.0"), (None, "-"), (float("nan"), "-")],
)
def test_sizes(value: float | None, said: str) -> None:
    assert say_um(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0231, "2.3 %"),
        (0.0004, "0.04 %"),
        (0.000997, "0.1 %"),
        (0.0997, "10 %"),
        (0.31, "31 %"),
        (None, "-"),
        (float("inf"), "-"),
    ],
)
def test_shares(value: float | None, said: str) -> None:
    assert say_percent(value) == said


def test_positions() -> None:
    assert say_mm(12.349) == "12.3"
    assert say_mm(None) == "-"


@pytest.mark.parametrize(
    ("shutter_s", "said"),
    [(0.004, "1/250 s"), (1 / 3, "1/3 s"), (0.5, "0.5 s"), (8.0, "8 s"), (0.0, "0 s")],
)
def test_exposure_times(shutter_s: float, said: str) -> None:
    assert say_shutter(shutter_s) == said


def test_an_unknown_exposure_says_so() -> None:
    assert say_exposure(Exposure()) == "aperture unknown"


def test_paragraphs_fit_and_hang() -> None:
    lines = paragraph("word " * 60, first="  Label   ")
    assert max(map(len, lines)) <= WIDTH_COLUMNS
    assert lines[0].startswith("  Label   word")
    assert lines[1].startswith(" " * 10 + "word")


def test_a_long_path_keeps_its_end() -> None:
    assert shortened("folder/" * 20 + "MOTE0001.DNG", 20) == "...lder/MOTE0001.DNG"
    assert shortened("MOTE0001.DNG", 20) == "MOTE0001.DNG"


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("clipping", 0.7387, "74 %"),
        ("banding", 0.00066, "0.07 %"),
        ("resolution", 1200.0, "1200 px"),
        ("sensitivity", 4.7, "4.7 um"),
        ("brightness", 0.4673, "0.47"),
        ("something new", 0.123456, "0.1235"),
        ("blank field", "a scene", "a scene"),
    ],
)
def test_what_a_check_found(name: str, value: float | str, said: str) -> None:
    assert say_check(name, value) == said


def test_nothing_is_shown_as_the_size_of_a_mark_that_is_cut() -> None:
    assert shown_um(spot(particle_um=21.0, width_um=51.0)) == 21.0
    assert shown_um(spot(particle_um=None, lost_area_um2=90.0, width_um=51.0)) == 51.0
    assert shown_um(spot(particle_um=None, lost_area_um2=None, width_um=9.0)) == 9.0
    assert say_check("ISO", 25600.0) == "25600"
