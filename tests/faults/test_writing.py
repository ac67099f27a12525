"""Results that cannot be written: a full disk, a reader that left, a run that is stopped."""

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from commanding import Captured
from drawn import dust, shoot
from faults.program import begin, many_of, run, run_with_little_room, wait_for_work
from faults.samples import WHOLE_SAMPLES
from motemap.cli.main import main

OUTPUTS = {
    "-o": "report",
    "--page": "page.html",
    "--map": "map.png",
    "--strip": "strip.png",
    "--mask": "mask.png",
}
BEFORE = b"what was there before"
ROOM_BYTES = 64


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    folder = tmp_path / "trip"
    folder.mkdir()
    shoot(folder / "a.dng", dust())
    return folder


@pytest.mark.parametrize("option", OUTPUTS)
def test_a_full_disk_leaves_what_was_there(tmp_path: Path, trip: Path, option: str) -> None:
    target = tmp_path / OUTPUTS[option]
    target.write_bytes(BEFORE)
    result = run_with_little_room("check", option, target, trip, room_bytes=ROOM_BYTES)
    assert result.returncode == 1
    assert b"could not be written (File too large)" in result.stderr
    assert b"-o" in result.stderr or b"room" in result.stderr
    assert target.read_bytes() == BEFORE
    assert sorted(tmp_path.iterdir()) == sorted([target, trip])


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_standard_output_on_a_full_disk(trip: Path, form: str) -> None:
    with Path("/dev/full").open("wb") as full:
        result = run("check", "--format", form, trip, stdout=full, stderr=subprocess.PIPE)
    assert result.returncode == 1
    assert b"Standard output could not be written (No space left on device)" in result.stderr
    assert b"Traceback" not in result.stderr
    assert b"Exception ignored" not in result.stderr


@pytest.mark.parametrize("option", ["-o", "--page"])
def test_a_device_that_is_full(trip: Path, option: str, tmp_path: Path) -> None:
    link = tmp_path / "full.html"
    link.symlink_to("/dev/full")
    result = run("check", option, link, trip)
    assert result.returncode == 1
    assert b"No space left on device" in result.stderr
    assert Path("/dev/full").is_char_device()


def test_messages_on_a_full_disk_cost_nothing(trip: Path) -> None:
    (trip / "cut.dng").write_bytes((trip / "a.dng").read_bytes()[:9000])
    plain = run("check", trip)
    with Path("/dev/full").open("wb") as full:
        result = run("check", "-v", "--debug", trip, stdout=subprocess.PIPE, stderr=full)
    assert plain.returncode == result.returncode == 1
    assert result.stdout == plain.stdout != b""


@pytest.mark.parametrize("stream", [0, 1, 2])
def test_a_standard_stream_that_is_closed(trip: Path, stream: int) -> None:
    args = ("check", "-") if stream == 0 else ("check", "-v", trip)
    result = run(*args, preexec_fn=lambda: os.close(stream))
    assert result.returncode == {0: 1, 1: 1, 2: 3}[stream]
    assert b"Traceback" not in result.stderr
    assert b"fault of the program" not in result.stderr
    if stream == 1:
        assert b"Standard output is closed." in result.stderr


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_a_reader_that_left(trip: Path, form: str) -> None:
    with begin("check", "--format", form, trip) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        process.wait(timeout=60)
    assert (process.returncode, said) == (3, b"")


@pytest.mark.parametrize("option", OUTPUTS)
@pytest.mark.parametrize("way", ["itself", "link", "hard link", "roundabout"])
def test_pictures_are_not_written_over(
    tmp_path: Path, capsys: Captured, option: str, way: str
) -> None:
    suffix = {"-o": ".dng", "--page": ".html"}.get(option, ".png")
    picture = tmp_path / f"a{suffix}"  # what it is called is of no account, what it holds is
    WHOLE_SAMPLES["whole.dng"](picture)
    content = picture.read_bytes()
    target = tmp_path / f"other{suffix}"
    if way == "link":
        target.symlink_to(picture)
    elif way == "hard link":
        target.hardlink_to(picture)
    elif way == "roundabout":
        (tmp_path / "folder").mkdir()
        target = tmp_path / "folder" / ".." / picture.name
    else:
        target = picture
    assert main(["check", option, str(target), str(picture)]) == 2
    assert "will not be written over" in capsys.readouterr().err
    assert picture.read_bytes() == content


@pytest.mark.parametrize("more", [(), ("--burst",)])
@pytest.mark.parametrize("delay_s", [0.0, 0.4, 0.9])
def test_ctrl_c_leaves_nothing_behind(
    tmp_path: Path, trip: Path, more: tuple[str, ...], delay_s: float
) -> None:
    many_of(trip / "a.dng")
    target = tmp_path / "report.json"
    target.write_bytes(BEFORE)
    with begin("check", "--jobs", "2", *more, "-o", target, trip) as process:
        wait_for_work(process)
        time.sleep(delay_s)
        assert process.poll() is None, "it was done before it could be stopped"
        begun_s = time.monotonic()
        process.send_signal(signal.SIGINT)
        stdout, stderr = process.communicate(timeout=60)
        took_s = time.monotonic() - begun_s
    assert process.returncode == 130
    assert (stdout, stderr.strip()) == (b"", b"Stopped.")
    assert took_s < 5
    assert target.read_bytes() == BEFORE
    assert sorted(tmp_path.iterdir()) == sorted([target, trip])
