"""``motemap compare``, ``history``, ``pretrip`` and ``check --record --burst`` on drawn frames."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from drawn import blemishes, dust, judged_once, shoot
from motemap.cli.main import main
from motemap.report.schema import load_schema

Captured = pytest.CaptureFixture[str]

DIRTY = dust()
CLEANER = DIRTY[4:]


@pytest.fixture(scope="module", autouse=True)
def quick() -> Iterator[None]:
    with judged_once():
        yield


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One body before and after a cleaning, a burst of it, and another body."""
    folder = tmp_path_factory.mktemp("frames")
    shoot(folder / "before.dng", DIRTY, taken_at="2031-05-02T10:00:00")
    shoot(folder / "after.dng", CLEANER, taken_at="2031-05-02T10:20:00", seed=2)
    for number in (3, 4):
        shoot(
            folder / "burst" / f"{number}.dng",
            (*CLEANER, *blemishes(number)),
            taken_at=f"2031-05-02T10:40:{10 * number}",
            seed=number,
        )
    shoot(folder / "other.dng", DIRTY, serial="K-99999")
    (folder / "cut.dng").write_bytes((folder / "before.dng").read_bytes()[:3000])
    return folder


@pytest.fixture(autouse=True)
def own_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep every test away from the record of whoever runs it."""
    place = tmp_path / "own.sqlite3"
    monkeypatch.setenv("MOTEMAP_DB", str(place))
    return place


def run(capsys: Captured, *args: object) -> tuple[int, str, str]:
    code = main([str(each) for each in args])
    stdout, stderr = capsys.readouterr()
    return code, stdout, stderr


def read(capsys: Captured, schema: str, *args: object) -> tuple[int, dict[str, Any]]:
    code, stdout, _ = run(capsys, *args, "--format", "json")
    document: dict[str, Any] = json.loads(stdout)
    Draft202012Validator(load_schema(schema)).validate(document)
    return code, document


def test_the_story_comes_first(capsys: Captured, frames: Path) -> None:
    code, stdout, stderr = run(
        capsys, "compare", frames / "before.dng", frames / "after.dng", "--done", "blower"
    )
    assert code == 3
    assert stdout.startswith("14 marks, then 10, of which ")
    assert "CLEAN: use the brush, then shoot again" in stdout
    assert stderr == ""


def test_what_went_is_gone_and_the_rest_stayed(capsys: Captured, frames: Path) -> None:
    code, document = read(capsys, "compare", "compare", frames / "before.dng", frames / "after.dng")
    assert code == 3
    (change,) = document["changes"]
    assert change["counts"] == {
        "gone": 4,
        "stayed": 10,
        "weaker": 0,
        "moved": 0,
        "new": 0,
        "undecided": 0,
    }
    assert change["registration"]["scale"] == 1.0


def test_a_folder_is_one_state(capsys: Captured, frames: Path) -> None:
    _, document = read(capsys, "compare", "compare", frames / "after.dng", frames / "burst")
    assert [state["file"] for state in document["states"]] == [
        str(frames / "after.dng"),
        str(frames / "burst"),
    ]
    counts = document["changes"][0]["counts"]
    assert (counts["gone"], counts["new"], counts["moved"]) == (0, 0, 0)
    assert any("Combined from 2 frames" in note for note in document["states"][1]["notes"])


def test_ready_is_zero(capsys: Captured, frames: Path) -> None:
    code, stdout, _ = run(
        capsys,
        "compare",
        frames / "before.dng",
        frames / "after.dng",
        "--shoot-at",
        "2.8",
        "--show-depth",
        "60",
    )
    assert code == 0
    assert "READY" in stdout


@pytest.mark.parametrize(
    ("names", "word"),
    [
        (["before.dng"], "nothing to compare"),
        (["before.dng", "other.dng"], "different bodies"),
        (["before.dng", "absent.dng"], "no such file"),
    ],
)
def test_wrong_usage_is_two(capsys: Captured, frames: Path, names: list[str], word: str) -> None:
    code, stdout, stderr = run(capsys, "compare", *(frames / name for name in names))
    assert (code, stdout) == (2, "")
    assert word in stderr


def test_an_unreadable_state_is_one_and_the_rest_is_reported(
    capsys: Captured, frames: Path
) -> None:
    code, stdout, _ = run(
        capsys, "compare", frames / "before.dng", frames / "cut.dng", frames / "after.dng"
    )
    assert code == 1
    assert "10.dng" not in stdout
    assert "cut.dng is not fit to judge and was passed over" in " ".join(stdout.split())
    assert run(capsys, "compare", frames / "before.dng", frames / "cut.dng")[0] == 1


def test_a_table_and_a_file(capsys: Captured, frames: Path, tmp_path: Path) -> None:
    target = tmp_path / "out.csv"
    code, stdout, _ = run(
        capsys,
        "compare",
        frames / "before.dng",
        frames / "after.dng",
        "--format",
        "csv",
        "-o",
        target,
        "--exit-zero",
    )
    assert (code, stdout) == (0, "")
    lines = target.read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("from,to,done,fate,before_id,after_id")
    assert len(lines) == 1 + 14


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
    clean = shoot(tmp_path / "clean.dng", DIRTY[:2], taken_at="2031-05-03T10:00:00", seed=5)
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
    other = shoot(tmp_path / "other.dng", DIRTY[:2], serial="K-3", seed=5)
    _, stranger = read(capsys, "check", "check", other, "--record")
    assert stranger["frames"][0]["stack"]["source"] == "assumed"
    assert "measured before" in run(capsys, "check", clean, "--record")[1]


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


def test_a_burst_is_one_frame_of_the_report(capsys: Captured, frames: Path) -> None:
    _, document = read(capsys, "check", "check", "--burst", frames / "burst")
    assert len(document["frames"]) == 1
    assert document["frames"][0]["counts"]["found"] == 10
    _, document = read(capsys, "check", "check", frames / "burst")
    assert [frame["counts"]["found"] for frame in document["frames"]] == [13, 13]


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


def test_a_trip_in_lines(capsys: Captured, frames: Path, tmp_path: Path) -> None:
    trip = tmp_path / "trip"
    for name in ("before.dng", "after.dng", "other.dng"):
        (trip / name).parent.mkdir(exist_ok=True)
        (trip / name).write_bytes((frames / name).read_bytes())
    code, stdout, _ = run(capsys, "pretrip", trip)
    assert code == 3
    assert stdout.count("CLEAN") == 2
    code, document = read(
        capsys,
        "pretrip",
        "pretrip",
        trip,
        "--expect",
        "K-20418,K-1",
        "--max-age",
        "3",
        "--as-of",
        "2031-05-04",
    )
    assert code == 4
    assert document["summary"] == {
        "ready": 0,
        "clean": 2,
        "reshoot": 0,
        "stale": 0,
        "missing": 1,
        "unreadable": 0,
    }
    assert document["bodies"][0]["taken_at"] == "2031-05-02T10:20:00"
    assert run(capsys, "pretrip", trip, "--max-age", "3", "--as-of", "2031-06-04")[0] == 4
    assert run(capsys, "pretrip", trip, "--format", "csv", "--exit-zero")[0] == 0


def test_help_costs_no_science() -> None:
    code = (
        "import sys; from motemap.cli.main import main\n"
        "for name in ('compare', 'history', 'pretrip'): main([name, '--help'])\n"
        "assert not {'numpy', 'scipy', 'sqlite3'} & set(sys.modules), sys.modules.keys()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("Example:") == 3
