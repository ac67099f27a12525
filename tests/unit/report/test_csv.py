import csv
import io

import pytest

from motemap.records import Camera, FrameReport
from motemap.report.csv import FRAME_COLUMNS, SPOT_COLUMNS, render
from motemap.settings import Settings, WorkSettings
from reporting.builders import DEPTHS, frame, ready, reshoot, spot, unreadable


def rows_of(*frames: FrameReport) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(render(frames))))


def test_a_row_a_spot_and_none_lost() -> None:
    rows = rows_of(frame(), ready(), reshoot(), unreadable())
    assert [(row["file"], row["id"]) for row in rows] == [
        ("trip/MOTE0001.DNG", "1"),
        ("trip/MOTE0001.DNG", "2"),
        ("trip/MOTE0002.DNG", ""),
        ("trip/MOTE0003.JPG", ""),
        ("trip/MOTE0004.DNG", ""),
    ]
    assert all(rows[2][column] == "" for column in SPOT_COLUMNS)
    assert rows[4]["error.cause"] == "The file is cut off."


def test_columns_are_the_names_of_the_json_report() -> None:
    row = rows_of(frame())[0]
    assert tuple(row) == (*FRAME_COLUMNS, *SPOT_COLUMNS)
    assert len(set(row)) == len(FRAME_COLUMNS) + len(SPOT_COLUMNS)
    assert row["from_left_mm"] == "6.003"
    assert row["depth_at.5.6"] == "0.011"
    assert row["particle_um_range.low"] == "31.0"
    assert row["sensor.width_mm"] == "36.0"
    assert row["verdict.method"] == "blower"
    assert row["shot_checks"] == "aperture: ok; ISO: ok"
    assert row["verdict.cautions"].startswith("Never use a can of compressed gas.; ")


def test_the_aperture_asked_for_has_its_column_in_its_place() -> None:
    between = Settings(work=WorkSettings(shoot_at_f=9.5))
    told = frame(spots=(spot(1, depth_at={**DEPTHS, "9.5": 0.0351}),))
    header, row, empty = csv.reader(io.StringIO(render([told, ready()], between)))
    at = header.index("depth_at.9.5")
    assert header[at - 1 : at + 2] == ["depth_at.8", "depth_at.9.5", "depth_at.11"]
    assert (row[at], empty[at]) == ("0.0351", "")
    # There even where nothing was found, so that tables of two runs can be laid below one another.
    assert render([ready()], between).splitlines()[0] == ",".join(header)
    assert render([told]).splitlines()[0] == ",".join(header)
    assert tuple(rows_of(ready())[0]) == (*FRAME_COLUMNS, *SPOT_COLUMNS)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_text_that_starts_like_a_formula_is_made_harmless(start: str) -> None:
    formula = f'{start}HYPERLINK("http://example.invalid")'
    row = rows_of(ready(file=formula, camera=Camera(serial=formula)))[0]
    assert row["file"].startswith("'")
    assert row["camera.serial"].startswith("'")
    assert row["file"].endswith('HYPERLINK("http://example.invalid")')


def test_standard_input_is_called_what_it_is() -> None:
    assert rows_of(ready(file="-"))[0]["file"] == "-"


def test_numbers_are_left_alone() -> None:
    row = rows_of(frame(spots=(spot(1, lost_area_um2=-12.5),)))[0]
    assert row["lost_area_um2"] == "-12.5"


def test_control_characters_are_written_out() -> None:
    text = render([ready(file="a\x1b[2Jb\nc.dng")])
    assert "\x1b" not in text
    assert len(text.splitlines()) == 2
    assert r"a\x1b[2Jb\nc.dng" in text
