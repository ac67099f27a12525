import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from commanding import Captured, read
from motemap.cli.main import main
from motemap.pipeline import frame
from reporting import fake

RUNNER = (
    "import sys; from reporting import fake; from motemap.pipeline import frame;"
    "frame.analyse = fake.analyse; from motemap.cli.main import main; sys.exit(main())"
)
TESTS = Path(__file__).parents[1]


@pytest.fixture(autouse=True)
def judged_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(frame, "analyse", fake.analyse)


def shots(folder: Path, *names: str) -> Path:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"not empty")
    return folder


@pytest.mark.parametrize(
    ("names", "code"),
    [
        (["ready.dng"], 0),
        (["ready.dng", "dusty.dng"], 3),
        (["ready.dng", "dusty.dng", "spoilt.jpg"], 4),
        (["ready.dng", "dusty.dng", "spoilt.jpg", "cut.nef"], 1),
        (["crash.dng"], 1),
    ],
)
@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_exit_codes(
    tmp_path: Path, capsys: Captured, names: list[str], code: int, form: str
) -> None:
    assert main(["check", "--format", form, str(shots(tmp_path, *names))]) == code
    stdout, stderr = capsys.readouterr()
    assert all(name in stdout for name in names)
    assert stderr == ""


def test_exit_zero_forgives_judgements_only(tmp_path: Path) -> None:
    trip = str(shots(tmp_path, "dusty.dng", "spoilt.jpg"))
    assert main(["check", "--exit-zero", trip]) == 0
    shots(tmp_path, "cut.nef")
    assert main(["check", "--exit-zero", trip]) == 1


def test_json_is_one_valid_object(tmp_path: Path, capsys: Captured) -> None:
    trip = shots(tmp_path, "dusty.dng", "ready.dng", "spoilt.jpg", "cut.nef", "notes.txt")
    _, report = read(capsys, "check", "check", "--shoot-at", "8", trip)
    assert [Path(each["file"]).name for each in report["frames"]] == [
        "cut.nef",
        "dusty.dng",
        "ready.dng",
        "spoilt.jpg",
    ]
    assert report["settings"]["work"]["shoot_at_f"] == 8.0
    assert report["summary"] == {"ready": 1, "clean": 1, "reshoot": 1, "unreadable": 1}


def test_csv_has_a_row_a_spot(tmp_path: Path, capsys: Captured) -> None:
    main(["check", "--format", "csv", str(shots(tmp_path, "dusty.dng", "ready.dng"))])
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["id"] for row in rows] == ["1", "2", ""]


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_the_same_whatever_the_jobs_and_the_order(
    tmp_path: Path, capsys: Captured, form: str
) -> None:
    trip = shots(tmp_path, *(f"ready-{number}.jpg" for number in range(9)), "a/dusty.dng")
    names = [str(path) for path in sorted(trip.rglob("*.*"))]
    said = set()
    for args in (
        ["--jobs", "1", *names],
        ["--jobs", "3", *reversed(names)],
        ["--jobs", "2", *names],
    ):
        assert main(["check", "--format", form, *args]) == 3
        said.add(capsys.readouterr().out)
    assert len(said) == 1


def test_hold_turns_the_text_and_not_the_json(tmp_path: Path, capsys: Captured) -> None:
    shot = str(shots(tmp_path, "dusty.dng") / "dusty.dng")
    main(["check", "--hold", "upside-down", shot])
    text = capsys.readouterr().out
    assert " 30.0   3.0  upper right" in text
    assert "top plate down" in " ".join(text.split())
    _, document = read(capsys, "check", "check", "--hold", "upside-down", shot)
    spot = document["frames"][0]["spots"][0]
    assert (spot["from_left_mm"], spot["from_top_mm"]) == (6.003, 20.997)


@pytest.mark.parametrize("name", ["absent.jpg", "empty"])
def test_nothing_to_read_is_wrong_usage(tmp_path: Path, capsys: Captured, name: str) -> None:
    shots(tmp_path, "ready.dng")
    (tmp_path / "empty").mkdir()
    assert main(["check", str(tmp_path / "ready.dng"), str(tmp_path / name)]) == 2
    stdout, stderr = capsys.readouterr()
    assert stdout == ""
    assert str(tmp_path / name) in stderr


def test_a_value_out_of_range_is_wrong_usage(tmp_path: Path, capsys: Captured) -> None:
    assert main(["check", "--stack-mm", "99", str(shots(tmp_path, "ready.dng"))]) == 2
    assert "99 mm" in capsys.readouterr().err


def test_a_report_into_a_file(tmp_path: Path, capsys: Captured) -> None:
    trip = shots(tmp_path, "trip/dusty.dng") / "trip"
    target = tmp_path / "report.json"
    assert main(["check", "--format", "json", "-o", str(target), str(trip)]) == 3
    assert capsys.readouterr() == ("", "")
    assert json.loads(target.read_bytes())["report"] == "motemap.check"
    assert sorted(tmp_path.iterdir()) == [target, trip]


def test_an_input_is_not_written_over(tmp_path: Path, capsys: Captured) -> None:
    shot = shots(tmp_path, "dusty.dng") / "dusty.dng"
    assert main(["check", "-o", str(shot), str(tmp_path)]) == 2
    assert shot.read_bytes() == b"not empty"
    assert "will not be written over" in capsys.readouterr().err


def test_a_full_disk(tmp_path: Path, capsys: Captured) -> None:
    assert main(["check", "-o", "/dev/full", str(shots(tmp_path, "ready.dng"))]) == 1
    assert "No space left on device" in capsys.readouterr().err


def test_hostile_names(tmp_path: Path, capsys: Captured) -> None:
    for name in (b"ready-\x1b[2J.jpg", b"ready-\xe9.jpg", b"ready-\n.jpg", b"=ready.jpg"):
        (tmp_path / os.fsdecode(name)).write_bytes(b"x")
    for form in ("text", "json", "csv"):
        assert main(["check", "--format", form, str(tmp_path)]) == 0
        stdout = capsys.readouterr().out
        assert stdout.replace("\n", "").isprintable()
    assert r"ready-\xe9.jpg" in stdout


def run(*args: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", RUNNER, "check", *args],
        # As the program itself has it: copies are made of a process without other threads only.
        env={**os.environ, "PYTHONPATH": str(TESTS), "OMP_NUM_THREADS": "1"},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def test_one_frame_from_standard_input(tmp_path: Path) -> None:
    with run("--format", "json", "-", str(shots(tmp_path, "dusty.dng"))) as process:
        stdout, stderr = process.communicate(b"\xff\x00 picture", timeout=60)
    assert stderr == b""
    assert process.returncode == 3
    first, second = json.loads(stdout)["frames"]
    assert (first["file"], first["notes"]) == ("-", ["10 bytes"])
    assert second["file"].endswith("dusty.dng")


def test_a_reader_that_leaves_is_no_fault(tmp_path: Path) -> None:
    shots(tmp_path, *(f"dusty-{number}.dng" for number in range(40)))
    with run("--format", "json", str(tmp_path)) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        process.wait(timeout=60)
    assert process.returncode == 3


def test_ctrl_c_in_a_batch(tmp_path: Path) -> None:
    trip = shots(tmp_path, *(f"trip/slow-{number}.dng" for number in range(5))) / "trip"
    target = tmp_path / "report.txt"
    with run("--jobs", "2", "-o", str(target), str(trip)) as process:
        while not list(trip.glob("*.begun")):
            assert process.poll() is None
            time.sleep(0.05)
        begun = time.monotonic()
        process.send_signal(signal.SIGINT)
        stdout, stderr = process.communicate(timeout=20)
        took_s = time.monotonic() - begun
    assert process.returncode == 130
    assert (stdout, stderr.strip()) == (b"", b"Stopped.")
    assert took_s < 5  # the frames in hand take 30 s
    assert list(tmp_path.iterdir()) == [trip]
