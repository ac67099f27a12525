"""Every command that reads pictures, let loose on a folder full of damage."""

import zlib
from pathlib import Path

import numpy as np
import pytest

from drawn import dust, shoot
from faults.damage import damaged
from faults.samples import SAMPLES
from motemap.cli.main import main

COMMANDS = {
    "check": (["check", "{trip}"], {1}),
    "check with all it draws": (
        ["check", "--page", "p.html", "--map", "m.png", "--strip", "s.png", "{trip}"],
        {1},
    ),
    "check of bursts": (["check", "--burst", "{trip}"], {1}),
    "check with a record": (["check", "--record", "--db", "record", "{trip}"], {1}),
    # A folder is one state: what of it cannot be used is left out, and the last state judged.
    "compare": (["compare", "{trip}/good.dng", "{trip}", "{trip}/good.jpg"], {1, 3}),
    "compare with a page": (["compare", "--page", "c.html", "{trip}/good.dng", "{trip}"], {1, 3}),
    "pretrip": (["pretrip", "{trip}"], {1}),
    "forecast": (["forecast", "{trip}/cut.dng"], {1}),
}


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("damaged") / "trip"
    for name in ("good.dng", "good.jpg"):
        shoot(folder / name, dust())
    for name, write in SAMPLES.items():
        place = folder / name
        write(place)
        rng = np.random.default_rng(zlib.crc32(name.encode()))
        place.write_bytes(damaged(place.read_bytes(), rng).content)
    (folder / "cut.dng").write_bytes((folder / "good.dng").read_bytes()[:9000])
    return folder


@pytest.mark.parametrize("what", COMMANDS)
def test_no_command_breaks_on_it(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    trip: Path,
    what: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    args, codes = COMMANDS[what]
    assert main([arg.format(trip=trip) for arg in args]) in codes
    said = capsys.readouterr()
    assert "fault of the program" not in said.err
    assert "The program failed" not in said.out
    assert "good" in said.out or what in {"pretrip", "forecast"}
    assert any(words in said.out for words in ("NOT READ", "left out", "damaged or cut off"))
