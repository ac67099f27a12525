"""Names and folders as bad as a file system allows."""

import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from commanding import Captured
from faults.program import COMMAND, run
from faults.samples import SAMPLES
from motemap.cli.main import main

NAMES = {
    "newline": b"two\nlines.jpg",
    "spaces": b"  a  b .jpg",
    "no UTF-8": b"caf\xe9\xff.jpg",
    "leading dash": b"-o.jpg",
    "leading dashes": b"--debug.jpg",
    "longest": b"n" * 251 + b".jpg",
    "quotes": b"'\"`$(id)`.jpg",
    "steering": b"red\x1b[31m\x07\x08\rgone.jpg",
    "right to left": "gpj.\u202egnp.jpg".encode(),
    "formula": b"=1+1.jpg",
    "not a number": b"%s%n{0}.jpg",
}


@pytest.fixture
def picture(tmp_path: Path) -> bytes:
    place = tmp_path / "picture"
    SAMPLES["grey.jpg"](place)
    content = place.read_bytes()
    place.unlink()
    return content


@pytest.fixture
def trip(tmp_path: Path, picture: bytes) -> Path:
    folder = tmp_path / "trip"
    folder.mkdir()
    for name in NAMES.values():
        (folder / os.fsdecode(name)).write_bytes(picture)
    return folder


def frames(stdout: bytes) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(stdout)["frames"]
    return found


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_a_folder_of_odd_names(trip: Path, form: str) -> None:
    result = run("check", "--format", form, ".", cwd=trip)
    assert (result.returncode, result.stderr) == (4, b"")
    report = result.stdout.decode()
    assert report.replace("\n", "").isprintable()
    if form == "json":  # names as they are, but for bytes that JSON cannot hold
        names = {str(frame["file"]) for frame in frames(result.stdout)}
        assert len(names) == len(NAMES)
        assert {"red\x1b[31m\x07\x08\rgone.jpg", "two\nlines.jpg", r"caf\xe9\xff.jpg"} < names
        return
    for shown in (r"caf\xe9\xff.jpg", r"red\x1b[31m\x07\x08\rgone.jpg", "'\"`$(id)`.jpg"):
        assert (shown.replace('"', '""') if form == "csv" else shown) in report


@pytest.mark.parametrize("what", NAMES)
def test_each_odd_name_by_itself(trip: Path, what: str) -> None:
    result = run("check", "--format", "json", "--", NAMES[what], cwd=trip)
    assert (result.returncode, result.stderr) == (4, b"")
    (frame,) = frames(result.stdout)
    assert frame["state"] == "reshoot"


def test_a_raw_that_is_cut_lets_its_name_steer_nothing(tmp_path: Path) -> None:
    """The raw decoder prints the file's name on standard error as it is, past Python."""
    whole = tmp_path / "whole.dng"
    SAMPLES["rggb.dng"](whole)
    cut = tmp_path / "trip" / "cut\x1b[31m\n.dng"
    cut.parent.mkdir()
    cut.write_bytes(whole.read_bytes()[:6000])
    result = run("check", "trip", cwd=tmp_path)
    assert result.returncode == 1
    assert result.stderr == b""
    assert rb"cut\x1b[31m\n.dng" in result.stdout
    loud = run("check", "-v", "--debug", "trip", cwd=tmp_path)
    assert loud.stderr.decode().replace("\n", "").isprintable()


def test_a_dash_in_front_is_an_option_and_said_so(trip: Path) -> None:
    result = run("check", NAMES["leading dash"], cwd=trip)
    assert result.returncode == 2  # -o with the file ".jpg", and no picture
    assert b"Usage" not in result.stdout


@pytest.mark.parametrize(
    "args",
    [
        ("{long}",),
        ("check", "{long}"),
        ("check", "a.jpg", "-o", "{long}"),
        ("check", "a.jpg", "--page", "{long}.html"),
        ("check", "a.jpg", "-o", "circle"),
        ("check", "a.jpg", "--map", "circle.svg"),
        ("check", "a.jpg", "-o", "nowhere/report"),
        ("check", "a.jpg", "-o", ""),
        ("check", "a.jpg", "-o", "."),
        ("check", "circle"),
        ("check", "a.jpg/b.jpg"),
        ("compare", "a.jpg", "{long}"),
        ("pretrip", "{long}"),
        ("history", "--export", "{long}"),
        ("history", "--import", "absent"),
    ],
)
def test_impossible_places_are_wrong_usage(
    tmp_path: Path,
    picture: bytes,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
    args: tuple[str, ...],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MOTEMAP_DB", str(tmp_path / "record"))
    Path("a.jpg").write_bytes(picture)
    Path("circle").symlink_to("circle")
    Path("circle.svg").symlink_to("circle.svg")
    assert main([arg.format(long="l" * 300) for arg in args]) == 2
    stdout, stderr = capsys.readouterr()
    assert stdout == ""
    assert stderr.startswith("Error: ")
    assert "fault of the program" not in stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.jpg", "circle", "circle.svg"]


@pytest.mark.parametrize("args", [("history", "--db", "{long}"), ("history", "--import", "{long}")])
def test_impossible_records_are_said_to_be(capsys: Captured, args: tuple[str, ...]) -> None:
    assert main([arg.format(long="l" * 300) for arg in args]) == 1
    stdout, stderr = capsys.readouterr()
    assert stdout == ""
    assert "fault of the program" not in stderr


def test_links_in_circles(tmp_path: Path, picture: bytes, capsys: Captured) -> None:
    trip = tmp_path / "trip"
    (trip / "day" / "card").mkdir(parents=True)
    (trip / "day" / "a.jpg").write_bytes(picture)
    (trip / "day" / "up").symlink_to(trip)
    (trip / "day" / "card" / "up").symlink_to("..")
    (trip / "day" / "card" / "same.jpg").symlink_to(trip / "day" / "a.jpg")
    (trip / "circle.jpg").symlink_to("circle.jpg")
    (trip / "lost.jpg").symlink_to("lost elsewhere")
    assert main(["check", "--format", "json", str(trip)]) == 1
    states = {
        Path(str(frame["file"])).name: (frame["state"], frame["error"])
        for frame in frames(capsys.readouterr().out.encode())
    }
    # The one picture counts once, under its own name or the link's.
    assert len(states) == 3
    assert {"circle.jpg", "lost.jpg"} < set(states)
    assert states["circle.jpg"][1]["cause"] == "The link leads in a circle."
    assert states["lost.jpg"][1]["cause"] == "The link leads nowhere."


def without_privilege() -> tuple[str, ...]:
    """Return what takes from root the right to read everything; nothing for other users."""
    if os.geteuid() != 0:
        return ()
    tool = shutil.which("setpriv")
    assert tool is not None, "setpriv (package util-linux) is needed to run this as root"
    rights = "-dac_override,-dac_read_search"
    return (tool, f"--bounding-set={rights}", f"--inh-caps={rights}")


@pytest.fixture
def closed(tmp_path: Path, picture: bytes) -> Iterator[Path]:
    trip = tmp_path / "trip"
    for folder in ("closed", "listed", "open"):
        (trip / folder).mkdir(parents=True)
        (trip / folder / "a.jpg").write_bytes(picture)
    (trip / "mine.jpg").write_bytes(picture)
    (trip / "mine.jpg").chmod(0)
    (trip / "closed").chmod(0)
    (trip / "listed").chmod(0o400)
    yield trip
    for folder in ("closed", "listed"):
        (trip / folder).chmod(0o700)


def test_folders_and_files_that_may_not_be_read(closed: Path) -> None:
    result = run("check", "--format", "json", closed, before=without_privilege())
    assert (result.returncode, result.stderr) == (1, b"")
    said = {
        str(Path(str(frame["file"])).relative_to(closed)): frame["error"]
        for frame in frames(result.stdout)
    }
    assert said.pop("open/a.jpg") is None
    assert set(said) == {"closed", "listed/a.jpg", "mine.jpg"}
    for error in said.values():
        assert "may not be read" in str(error) or "Permission denied" in str(error)


def test_a_report_where_nothing_may_be_written(closed: Path) -> None:
    (closed / "open").chmod(0o500)
    picture = closed / "open" / "a.jpg"
    target = closed / "open" / "report"
    result = run("check", "-o", target, picture, before=without_privilege())
    (closed / "open").chmod(0o700)
    assert (result.returncode, result.stdout) == (1, b"")
    assert b"could not be written (Permission denied)" in result.stderr
    assert list(picture.parent.iterdir()) == [picture]


def test_the_command_is_what_is_installed() -> None:
    assert COMMAND[1:] == ("-m", "motemap")
    assert run("--version").stdout.startswith(b"motemap")
