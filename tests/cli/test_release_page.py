"""The scripts on the page about releasing a trip do what the page says."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from drawn import dust, shoot

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "release-a-trip.md"
FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
AS_OF = "2031-05-04"


def blocks(kind: str) -> list[str]:
    found = [body for name, body in FENCE.findall(PAGE.read_text(encoding="utf-8")) if name == kind]
    assert found
    return found


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    """A dirty body, shot two days before the date that the scripts are told."""
    folder = tmp_path / "trip"
    shoot(folder / "dirty.dng", dust(), serial="K-1", taken_at="2031-05-02T10:00:00")
    return folder


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """A path on which `motemap` is this interpreter's, with a date of its own."""
    tools = tmp_path / "tools"
    tools.mkdir()
    program = tools / "motemap"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m motemap "$@" --as-of {AS_OF}\n')
    program.chmod(0o755)
    return {**os.environ, "PATH": f"{tools}{os.pathsep}{os.environ['PATH']}"}


def run(
    *command: str, folder: Path, environment: dict[str, str]
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    ("is_clean", "code", "said"),
    [(False, 3, "clean first:\nCLEAN "), (True, 0, "all bodies ready\n")],
)
def test_the_shell_script(
    trip: Path, environment: dict[str, str], *, is_clean: bool, code: int, said: str
) -> None:
    if is_clean:
        shoot(trip / "later.dng", (), serial="K-1", taken_at="2031-05-03T10:00:00")
    script = trip.parent / "release.sh"
    script.write_text(blocks("sh")[0])
    done = run("sh", str(script), "trip", folder=trip.parent, environment=environment)
    assert (done.returncode, done.stderr) == (code, "")
    assert done.stdout.startswith(said)


def test_the_shell_script_with_an_old_shot(trip: Path, environment: dict[str, str]) -> None:
    shoot(trip / "other.dng", (), serial="K-2", taken_at="2031-04-01T10:00:00")
    script = trip.parent / "release.sh"
    script.write_text(blocks("sh")[0])
    done = run("sh", str(script), "trip", folder=trip.parent, environment=environment)
    assert done.returncode == 4
    assert done.stdout.startswith("shoot first:\nTOO OLD ")


def test_the_makefile_line(trip: Path, environment: dict[str, str]) -> None:
    assert shutil.which("make"), "make is needed to try the page's Makefile line"
    (trip.parent / "Makefile").write_text(blocks("make")[0])
    shoot(trip / "later.dng", (), serial="K-1", taken_at="2031-05-03T10:00:00")
    done = run("make", "release", "BODIES=K-1", folder=trip.parent, environment=environment)
    assert done.returncode == 0, done.stderr
    assert "READY" in done.stdout
    done = run("make", "release", "BODIES=K-1,K-9", folder=trip.parent, environment=environment)
    assert done.returncode != 0
    assert "MISSING" in done.stdout


def test_the_scheduled_job(trip: Path, environment: dict[str, str]) -> None:
    (line,) = [body for body in blocks("") if body.startswith("0 6 * * *")]
    command = line.removeprefix("0 6 * * * ").replace("testshots/", "trip/")
    done = run("sh", "-c", command, folder=trip.parent, environment=environment)
    assert done.stdout.startswith("CLEAN ")
    shoot(trip / "later.dng", (), serial="K-1", taken_at="2031-05-03T10:00:00")
    done = run("sh", "-c", command, folder=trip.parent, environment=environment)
    assert (done.returncode, done.stdout) == (0, "")
