"""``motemap forecast`` on one drawn test shot, and its twin in what ``check`` says."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from commanding import Captured, read
from drawn import PLAIN, dust, shoot
from motemap.cli.main import main
from motemap.synth.frame import draw_frame
from motemap.synth.spec import FileSpec
from motemap.synth.store import write_frame

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.usefixtures("judged_once")


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shoot(tmp_path_factory.mktemp("trip") / "MOTE0001.jpg", dust())


def forecast(capsys: Captured, *arguments: str | Path) -> dict[str, Any]:
    """Return the JSON of a forecast that ends with 0."""
    code, document = read(capsys, "forecast", "forecast", *arguments)
    assert code == 0
    return document


def check(capsys: Captured, *arguments: str | Path) -> dict[str, Any]:
    """Return the one frame that ``check`` reports."""
    _, document = read(capsys, "check", "check", *arguments)
    (frame,) = document["frames"]
    return dict(frame)


def test_the_full_stops_are_those_of_check(shot: Path, capsys: Captured) -> None:
    told = forecast(capsys, shot)
    frame = check(capsys, shot)
    assert told["forecast"] == frame["forecast"]
    assert told["frame"] == frame
    counts = [row["showing"] for row in told["forecast"]]
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]


def test_a_row_agrees_with_what_check_counts_at_that_aperture(shot: Path, capsys: Captured) -> None:
    rows = forecast(capsys, shot, "--at", "5.6,f/9,13")["forecast"]
    assert [row["f_number"] for row in rows] == [5.6, 9.0, 13.0]
    assert rows[-1]["showing"] > 0
    for row in rows:
        frame = check(capsys, shot, "--shoot-at", str(row["f_number"]))
        # None of these marks lies on the lens side.
        assert frame["counts"]["showing"] == row["showing"]


def test_apertures_come_in_the_order_asked_for(shot: Path, capsys: Captured) -> None:
    rows = forecast(capsys, shot, "--at", "16, f/8,9.5")["forecast"]
    assert [row["f_number"] for row in rows] == [16.0, 8.0, 9.5]
    at_16, at_8, at_9_5 = (row["worst_depth_frac"][0] for row in rows)
    assert at_8 < at_9_5 < at_16


def test_what_shows_is_what_was_asked_for(shot: Path, capsys: Captured) -> None:
    def counts(*more: str) -> list[int]:
        return [row["showing"] for row in forecast(capsys, shot, *more)["forecast"]]

    plain = counts()
    assert counts("--show-depth", "10") != plain
    on_screen = counts("--view", "screen")
    from_afar = counts("--view", "print:18x12cm@120cm")
    assert on_screen != plain
    # A pixel of 1000 is 0.18 mm on that print, 0.009 deg wide; on the screen 0.024 deg.
    assert sum(from_afar) < sum(on_screen)


def test_the_settings_say_which_rule_it_was(shot: Path, capsys: Captured) -> None:
    assert forecast(capsys, shot)["settings"]["work"]["view"] is None
    told = forecast(capsys, shot, "--view", "print:60x40cm@80cm")
    assert told["settings"]["work"]["view"] == "print 60 x 40 cm at 80 cm"


@pytest.mark.parametrize("view", ["screen", "print:60x40cm@80cm"])
def test_check_counts_what_the_eye_sees(shot: Path, capsys: Captured, view: str) -> None:
    rows = forecast(capsys, shot, "--view", view, "--at", "8,11")["forecast"]
    assert [row["f_number"] for row in rows] == [8.0, 11.0]
    for row in rows:
        at = str(row["f_number"])
        frame = check(capsys, shot, "--view", view, "--shoot-at", at)
        assert frame["counts"]["showing"] == row["showing"]
        seen = [spot for spot in frame["spots"] if (spot["shows_from_f"] or 99) <= float(at)]
        assert len(seen) == row["showing"]


def test_what_matters_to_the_eye_decides_whether_a_frame_is_fit(
    shot: Path, capsys: Captured
) -> None:
    def wanted(*more: str) -> str:
        checks = check(capsys, shot, *more)["shot_checks"]
        return str(next(each["wanted"] for each in checks if each["name"] == "sensitivity"))

    assert wanted("--view", "screen") != wanted()


def test_text_and_table(shot: Path, capsys: Captured) -> None:
    assert main(["forecast", str(shot), "--at", "8,11"]) == 0
    text = capsys.readouterr().out
    rows = [line.split() for line in text.splitlines() if line.startswith("  f/")]
    assert [row[0] for row in rows] == ["f/8", "f/11"]
    assert main(["forecast", str(shot), "--at", "8,11", "--format", "csv"]) == 0
    table = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["showing"] for row in table] == [row[1] for row in rows]


def test_a_folder_with_one_shot_will_do(shot: Path, capsys: Captured, tmp_path: Path) -> None:
    assert forecast(capsys, shot.parent)["frame"]["file"] == str(shot)
    for name in ("MOTE0001.jpg", "MOTE0002.jpg"):
        (tmp_path / name).write_bytes(shot.read_bytes())
    assert main(["forecast", str(tmp_path)]) == 2
    assert "2 test shots" in capsys.readouterr().err


def test_a_shot_on_standard_input(shot: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "motemap", "forecast", "-", "--at", "11", "--format", "csv"],
        input=shot.read_bytes(),
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[1].startswith(b"-,11.0,")


def test_a_file_that_cannot_be_read(capsys: Captured, tmp_path: Path) -> None:
    empty = tmp_path / "empty.jpg"
    empty.write_bytes(b"")
    assert main(["forecast", str(empty)]) == 1
    assert "empty.jpg" in capsys.readouterr().out
    assert main(["forecast", str(tmp_path / "absent.jpg")]) == 2


def test_a_shot_of_unknown_aperture_is_not_guessed_from(capsys: Captured, tmp_path: Path) -> None:
    bare = replace(PLAIN, file=FileSpec(format="tiff", has_exif=False))
    write_frame(draw_frame(bare, dust()), tmp_path / "bare.tif")
    assert main(["forecast", str(tmp_path / "bare.tif"), "--sensor", "6x4.2"]) == 4
    text = " ".join(capsys.readouterr().out.split())
    assert "without a forecast: that takes the f-number" in text
    _, document = read(capsys, "forecast", "forecast", tmp_path / "bare.tif", "--sensor", "6x4.2")
    assert {row["showing"] for row in document["forecast"]} == {None}


def test_no_mark_at_an_unknown_aperture_promises_nothing(capsys: Captured, tmp_path: Path) -> None:
    bare = replace(PLAIN, file=FileSpec(format="tiff", has_exif=False))
    write_frame(draw_frame(bare, ()), tmp_path / "bare.tif")
    assert main(["forecast", str(tmp_path / "bare.tif"), "--sensor", "6x4.2"]) == 4
    text = " ".join(capsys.readouterr().out.split())
    assert "No mark was found. Pictures at other apertures are without a forecast" in text
    main(["check", str(tmp_path / "bare.tif"), "--sensor", "6x4.2"])
    text = " ".join(capsys.readouterr().out.split())
    assert "nothing would show at the aperture of this shot" in text


def test_a_shot_not_fit_to_judge_ends_with_4(capsys: Captured, tmp_path: Path) -> None:
    dark = shoot(tmp_path / "dark.jpg", (), exposure_frac=0.0005)
    assert main(["forecast", str(dark)]) == 4
    assert "Not fit to forecast from" in capsys.readouterr().out


def test_a_shot_not_fit_to_judge_has_no_table_for_what_it_shows(
    shot: Path, capsys: Captured
) -> None:
    # So little is asked for that noise hides it.
    little = ("--show-depth", "0.02")
    assert main(["check", str(shot), *little, "--format", "json"]) == 4
    (seen,) = json.loads(capsys.readouterr().out)["frames"]
    assert seen["spots"]
    assert (seen["forecast"], seen["cleanliness"]) == ([], None)
    assert {spot["depth_at"] for spot in seen["spots"]} == {None}
    code, document = read(capsys, "forecast", "forecast", shot, *little)
    assert (code, document["forecast"]) == (4, [])
    assert main(["forecast", str(shot), *little]) == 4
    text = capsys.readouterr().out
    assert "Not fit to forecast from" in text
    assert "f/8" not in text


@pytest.mark.parametrize("wrong", [("--at", "wide"), ("--at", ""), ("--view", "wall")])
def test_wrong_usage(shot: Path, capsys: Captured, wrong: tuple[str, str]) -> None:
    assert main(["forecast", str(shot), *wrong]) == 2
    assert wrong[0] in capsys.readouterr().err


def test_the_report_goes_where_it_is_sent_and_never_over_the_shot(
    shot: Path, capsys: Captured, tmp_path: Path
) -> None:
    target = tmp_path / "forecast.csv"
    assert main(["forecast", str(shot), "--format", "csv", "-o", str(target)]) == 0
    assert capsys.readouterr() == ("", "")
    assert target.read_text(encoding="utf-8").startswith("file,f_number,showing")
    before = shot.read_bytes()
    assert main(["forecast", str(shot), "-o", str(shot)]) == 2
    assert shot.read_bytes() == before
