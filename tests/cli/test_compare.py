"""``motemap compare``, ``pretrip`` and ``check --burst`` on drawn frames."""

import json
import re
from pathlib import Path

import pytest

from commanding import Captured, read, run
from drawn import dust, shoot

pytestmark = pytest.mark.usefixtures("judged_once")


def test_the_story_comes_first(capsys: Captured, frames: Path) -> None:
    code, stdout, stderr = run(
        capsys, "compare", frames / "before.dng", frames / "after.dng", "--done", "blower"
    )
    assert code == 3
    assert stdout.startswith("14 marks, then 10, of which ")
    assert "CLEAN: use the brush, then shoot again" in stdout
    assert stderr == ""


@pytest.mark.parametrize("command", ["check", "compare"])
def test_hold_turns_the_sentences_as_it_turns_the_table(
    capsys: Captured, frames: Path, tmp_path: Path, command: str
) -> None:
    page = tmp_path / "page.html"
    shots = [frames / "before.dng", frames / "after.dng"]
    shots = shots[1:] if command == "check" else shots
    for hold in ("upright", "upside-down"):
        _, stdout, _ = run(capsys, command, *shots, "--hold", hold, "--page", page)
        text = " ".join(stdout.split())
        sentence = re.search(r"The worst, [^.]* ([0-9.]+) mm from the left and ([0-9.]+) mm", text)
        row = re.search(r"no left top place um depth kind from # +\d+ +([0-9.]+) +([0-9.]+) ", text)
        assert sentence is not None
        assert row is not None
        assert sentence.groups() == row.groups()
        assert sentence.group() in page.read_text(encoding="utf-8")


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


def test_a_clean_state_is_judged_by_the_distance_that_a_dirty_one_showed(
    capsys: Captured, frames: Path, tmp_path: Path
) -> None:
    clean = shoot(tmp_path / "clean.dng", dust()[:2], taken_at="2031-05-02T11:00:00", seed=5)
    dirty = frames / "before.dng"
    _, document = read(capsys, "compare", "compare", dirty, clean, "--done", "blower")
    before, after = (state["stack"] for state in document["states"])
    assert after == {**before, "source": "given", "is_from_record": True}
    # The same either way round, and not where the user knows better.
    _, turned = read(capsys, "compare", "compare", clean, dirty)
    assert turned["states"][0]["spots"] == document["states"][1]["spots"]
    given = read(capsys, "compare", "compare", dirty, clean, "--stack-mm", "0.9")[1]["states"][1]
    assert (given["stack"]["distance_mm"], given["stack"]["is_from_record"]) == (0.9, False)


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


def test_one_picture_for_two_states_is_no_cleaning(
    capsys: Captured, frames: Path, tmp_path: Path
) -> None:
    before = frames / "before.dng"
    copy = tmp_path / "state" / "renamed.dng"
    copy.parent.mkdir()
    copy.write_bytes(before.read_bytes())
    code, stdout, _ = run(
        capsys, "compare", before, copy.parent, "--done", "blower", "--format", "json"
    )
    document = json.loads(stdout)
    (change,) = document["changes"]
    assert code == 3
    assert {spot["fate"] for spot in change["spots"]} == {"stayed"}
    assert "both are the same picture" in " ".join(change["notes"])
    # No rung further up than for the picture alone.
    assert document["verdict"]["method"] == "blower"
    assert "outlived" not in " ".join(document["verdict"]["reasons"])


def test_an_unreadable_state_is_one_and_the_rest_is_reported(
    capsys: Captured, frames: Path
) -> None:
    code, stdout, _ = run(
        capsys, "compare", frames / "before.dng", frames / "cut.dng", frames / "after.dng"
    )
    assert code == 1
    assert "10.dng" not in stdout
    assert "cut.dng could not be read and was passed over" in " ".join(stdout.split())
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


def test_a_burst_is_one_frame_of_the_report(capsys: Captured, frames: Path) -> None:
    _, document = read(capsys, "check", "check", "--burst", frames / "burst")
    assert len(document["frames"]) == 1
    assert document["frames"][0]["counts"]["found"] == 10
    _, document = read(capsys, "check", "check", frames / "burst")
    assert [frame["counts"]["found"] for frame in document["frames"]] == [13, 13]


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
