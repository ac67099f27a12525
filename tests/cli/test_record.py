"""``motemap history``, and ``--record`` of the other commands, on drawn frames."""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from commanding import Captured, read, run
from drawn import dust, shoot
from motemap.bodies import BodyCourse, BodyKey, CourseStep, KeptState
from motemap.cli import check
from motemap.cli import history as cli_history
from motemap.cli.main import main
from motemap.report.schema import load_schema
from picturing import bench

pytestmark = pytest.mark.usefixtures("own_record", "judged_once")

FEW = dust()[:2]


def test_the_record_changes_what_check_advises(
    capsys: Captured, frames: Path, own_record: Path
) -> None:
    before, after = frames / "before.dng", frames / "after.dng"
    assert run(capsys, "check", before, "--record")[0] == 3
    _, document = read(capsys, "check", "check", after, "--record", "--done", "blower")
    assert document["frames"][0]["verdict"]["method"] == "brush"
    assert any("second time" in reason for reason in document["frames"][0]["verdict"]["reasons"])
    assert own_record.exists()
    _, plain = read(capsys, "check", "check", after)
    assert plain["frames"][0]["verdict"]["method"] == "blower"


def test_a_clean_frame_is_judged_by_the_distance_its_body_showed_before(
    capsys: Captured, frames: Path, tmp_path: Path
) -> None:
    clean = shoot(tmp_path / "clean.dng", FEW, taken_at="2031-05-03T10:00:00", seed=5)
    _, alone = read(capsys, "check", "check", clean)
    assert alone["frames"][0]["stack"]["source"] == "assumed"
    _, before = read(capsys, "check", "check", frames / "before.dng", "--record")
    measured = before["frames"][0]["stack"]
    assert measured["source"] == "measured"
    _, known = read(capsys, "check", "check", clean, "--record", "--strip", tmp_path / "s.png")
    assert known["frames"][0]["stack"] == {
        **measured,
        "source": "given",
        "is_from_record": True,
    }
    assert not any("is assumed" in note for note in known["frames"][0]["notes"])
    assert (tmp_path / "s.png").exists()
    assert read(capsys, "check", "check", clean, "--record")[1] == known
    _, given = read(capsys, "check", "check", clean, "--record", "--stack-mm", "0.9")
    stack = given["frames"][0]["stack"]
    assert (stack["source"], stack["is_from_record"]) == ("given", False)
    other = shoot(tmp_path / "other.dng", FEW, serial="K-3", seed=5)
    _, stranger = read(capsys, "check", "check", other, "--record")
    assert stranger["frames"][0]["stack"]["source"] == "assumed"
    said = " ".join(run(capsys, "check", clean, "--record")[1].split())
    assert "(measured in other shots of this body)" in said


def test_a_clean_burst_is_judged_by_the_distance_its_body_showed_before(
    capsys: Captured, frames: Path, tmp_path: Path
) -> None:
    for number in (1, 2):
        shoot(
            tmp_path / "clean" / f"{number}.dng", FEW, taken_at="2031-05-03T10:00:00", seed=number
        )
    asked = ("check", tmp_path / "clean", "--burst", "--record", "--mask", tmp_path / "m.png")
    _, alone = read(capsys, "check", *asked)
    assert alone["frames"][0]["stack"]["source"] == "assumed"
    _, before = read(capsys, "check", "check", frames / "before.dng", "--record")
    (burst,) = read(capsys, "check", *asked)[1]["frames"]
    assert burst["stack"]["source"] == "given"
    assert burst["stack"]["is_from_record"]
    assert burst["stack"]["distance_mm"] == before["frames"][0]["stack"]["distance_mm"]
    assert "Combined from 2 frames." in burst["notes"]
    assert not any("is assumed" in note for note in burst["notes"])
    assert (tmp_path / "m.png").exists()


def test_a_clean_frame_from_standard_input_too(
    capsys: Captured, frames: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clean = shoot(tmp_path / "clean.dng", FEW, taken_at="2031-05-03T10:00:00", seed=5)
    _, before = read(capsys, "check", "check", frames / "before.dng", "--record")
    monkeypatch.setattr(check, "standard_input", clean.read_bytes)
    _, piped = read(capsys, "check", "check", "-", "--record")
    _, named = read(capsys, "check", "check", clean, "--record")
    assert piped["frames"][0]["stack"]["distance_mm"] == before["frames"][0]["stack"]["distance_mm"]
    assert piped["frames"][0]["spots"] == named["frames"][0]["spots"]


def test_judging_with_the_record_twice_says_the_same(capsys: Captured, frames: Path) -> None:
    first = run(capsys, "check", frames / "before.dng", frames / "after.dng", "--record")
    assert run(capsys, "check", frames / "before.dng", frames / "after.dng", "--record") == first


def test_a_damaged_record_does_not_stop_the_check(
    capsys: Captured, frames: Path, own_record: Path
) -> None:
    own_record.write_bytes(b"rubbish" * 500)
    code, stdout, stderr = run(capsys, "check", frames / "before.dng", "--record")
    assert code == 3
    assert "CLEAN" in stdout
    assert f"Warning: {own_record}: The record is damaged." in stderr
    assert own_record.read_bytes() == b"rubbish" * 500
    code, stdout, stderr = run(
        capsys, "compare", frames / "before.dng", frames / "after.dng", "--record"
    )
    assert code == 3
    assert "Warning" in stderr


def test_a_record_that_cannot_be_written_does_not_stop_the_check(
    capsys: Captured, frames: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for place, word in (
        (tmp_path, "cannot be opened"),
        (frames / "before.dng" / "db", "folder cannot be used"),
    ):
        monkeypatch.setenv("MOTEMAP_DB", str(place))
        code, stdout, stderr = run(capsys, "check", frames / "before.dng", "--record")
        assert code == 3
        assert "CLEAN" in stdout
        assert word in stderr


@pytest.mark.parametrize("command", ["check", "history"])
def test_a_slip_in_the_name_of_the_record_makes_no_folder(
    capsys: Captured, frames: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    what = [frames / "before.dng", "--record"] if command == "check" else []
    place = tmp_path / "slip" / "x.db"
    code, stdout, stderr = run(capsys, command, *what, "--db", place)
    assert (code, stdout) == (2, "")
    assert f"there is no folder '{place.parent}'" in stderr
    monkeypatch.setenv("MOTEMAP_DB", str(place))
    code, stdout, stderr = run(capsys, command, *what)
    assert (code, stdout) == (2, "")
    assert f"{place}: MOTEMAP_DB names a file in a folder that is not there." in stderr
    assert not place.parent.exists()


@pytest.mark.parametrize("more", [(), ("K-20418",), ("--export", "out.json")])
def test_a_record_that_was_named_and_is_not_there_is_wrong_usage(
    capsys: Captured, tmp_path: Path, more: tuple[str, ...]
) -> None:
    code, stdout, stderr = run(capsys, "history", *more, "--db", tmp_path / "typo.db")
    assert (code, stdout) == (2, "")
    assert f"{tmp_path / 'typo.db'}: There is no such record." in stderr
    assert not list(tmp_path.iterdir())


def test_the_usual_place_of_the_record_is_made(
    capsys: Captured, frames: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("MOTEMAP_DB")
    for variable in ("HOME", "XDG_DATA_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(variable, str(tmp_path / "home"))
    assert run(capsys, "check", frames / "before.dng", "--record")[0] == 3
    assert len(list((tmp_path / "home").rglob("history.sqlite3"))) == 1


@pytest.mark.parametrize("idle", [("--db", "x.db"), ("--body", "my old one")])
@pytest.mark.parametrize("command", ["check", "compare"])
def test_what_only_the_record_needs_wants_the_record(
    capsys: Captured, frames: Path, command: str, idle: tuple[str, str]
) -> None:
    code, stdout, stderr = run(capsys, command, frames / "before.dng", frames / "after.dng", *idle)
    assert (code, stdout) == (2, "")
    assert f"{idle[0]} is of no use without the record: give --record as well." in stderr


def test_a_name_that_was_not_needed_is_said(capsys: Captured, frames: Path) -> None:
    asked = ("--record", "--body", "my old one")
    assert (
        "'my old one' of --body was not" in run(capsys, "check", frames / "before.dng", *asked)[1]
    )
    both = (frames / "before.dng", frames / "after.dng")
    assert "'my old one' of --body was not" in run(capsys, "compare", *both, *asked)[1]


def test_the_course_of_a_body(capsys: Captured, frames: Path, tmp_path: Path) -> None:
    run(
        capsys,
        "compare",
        frames / "before.dng",
        frames / "after.dng",
        "--done",
        "blower",
        "--record",
    )
    code, stdout, _ = run(capsys, "history")
    assert code == 0
    assert "Halvern Q7 no. K-20418" in stdout
    code, stdout, _ = run(capsys, "history", "K-20418", "--plot", tmp_path / "course.svg")
    assert code == 0
    assert "blower" in stdout
    assert "seen 2 times" in stdout
    assert (tmp_path / "course.svg").read_text(encoding="utf-8").startswith("<")
    _, document = read(capsys, "course", "history", "q7")
    assert [state["found"] for state in document["bodies"][0]["states"]] == [14, 10]
    assert run(capsys, "history", "--format", "csv")[1].count("\n") == 3


def test_out_and_in_again(capsys: Captured, frames: Path, tmp_path: Path) -> None:
    run(capsys, "check", frames / "before.dng", "--record")
    target, other = tmp_path / "record.json", tmp_path / "other.sqlite3"
    assert run(capsys, "history", "--export", target)[0] == 0
    Draft202012Validator(load_schema("history")).validate(json.loads(target.read_text()))
    code, _, stderr = run(capsys, "history", "--db", other, "--import", target)
    assert code == 0
    assert "1 states read" in stderr
    assert run(capsys, "history", "--db", other)[1] == run(capsys, "history")[1]


@pytest.mark.parametrize(
    ("args", "code", "word"),
    [
        (["K-1"], 1, "no record yet"),
        (["--export", "x.json"], 1, "no record yet"),
        (["--import", "bad.json"], 1, "cannot be read"),
        (["--import", "absent.json"], 2, "no such file"),
    ],
)
def test_troubles_of_the_record_are_said(
    capsys: Captured,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    args: list[str],
    code: int,
    word: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bad.json").write_text("{")
    found, stdout, stderr = run(capsys, "history", *args)
    assert (found, stdout) == (code, "")
    assert word in stderr


def test_no_record_is_no_fault(capsys: Captured, own_record: Path) -> None:
    code, stdout, _ = run(capsys, "history")
    assert code == 0
    assert "No body is kept yet" in stdout
    assert not own_record.exists()


def course_of(*n_showing: int) -> BodyCourse:
    """Return a course with so many marks that show, an hour apart."""
    steps: list[CourseStep] = []
    for hour, count in enumerate(n_showing, start=10):
        exposure = replace(bench.dusty(0).exposure, taken_at=f"2031-05-04T{hour}:00:00")
        kept = KeptState(
            report=bench.dusty(0, exposure=exposure),
            digest=str(hour),
            recorded_at="2031-05-05T08:00:00+00:00",
            done=("blower",) if steps else (),
        )
        steps.append(CourseStep(state=kept, n_found=2 * count, n_showing=count))
    return BodyCourse(body=BodyKey("Larkspur", "L-2", "LK00412"), steps=tuple(steps))


def test_history_draws_the_course_of_one_body(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = [course_of(23, 10, 0)]
    monkeypatch.setattr(cli_history, "_courses", lambda *_: tuple(told))
    target = tmp_path / "course.svg"
    assert main(["history", "LK00412", "--plot", str(target)]) == 0
    text = " ".join(ET.parse(target).getroot().itertext())
    assert all(word in text for word in ("LK00412", "2031-05-04", "11:00", "blower", "23"))
    target.unlink()
    told.append(course_of(3))
    capsys.readouterr()
    assert main(["history", "--plot", str(target)]) == 2
    assert "course of one" in capsys.readouterr().err
    assert not target.exists()
