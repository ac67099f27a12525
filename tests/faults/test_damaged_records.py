"""Records and exports damaged at random, records on disks that refuse: said, and nothing worse.

A record is a database file; an export is JSON. Whatever happened to them, the program says so
and ends as the contract has it, leaves a damaged file as it is, and a check still reports.
"""

import zlib
from pathlib import Path

import numpy as np
import pytest

from commanding import Captured
from drawn import dust, shoot
from faults.damage import damaged
from faults.program import run, run_with_little_room
from motemap.cli.main import main

N_EXPORTS, N_RECORDS = 300, 150
PAGE_BYTES = 4096
ROOM_BYTES = 8192
LETTERS = 'abcdefghijklmnopqrstuvwxyz0123456789".,:[]{}-'


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a picture, the record of it, and an export of that."""
    folder = tmp_path_factory.mktemp("kept")
    shot = shoot(folder / "a.dng", dust())
    record = folder / "record"
    args = ["--record", "--db", str(record), "-o", str(folder / "said"), str(shot)]
    assert main(["check", *args]) == 3
    assert main(["history", "--db", str(record), "--export", str(folder / "export.json")]) == 0
    return folder


def said_well(capsys: Captured) -> str:
    said = capsys.readouterr()
    assert "fault of the program" not in said.err
    assert said.err.replace("\n", "").isprintable()
    return said.out + said.err


def test_exports_with_damaged_bytes(tmp_path: Path, capsys: Captured, kept: Path) -> None:
    content = (kept / "export.json").read_bytes()
    rng = np.random.default_rng(zlib.crc32(b"exports"))
    source, tally = tmp_path / "export.json", {0: 0, 1: 0}
    for number in range(N_EXPORTS):
        spoilt = damaged(content, rng)
        source.write_bytes(spoilt.content)
        record = tmp_path / f"record-{number}"
        code = main(["history", "--db", str(record), "--import", str(source)])
        said_well(capsys)
        tally[code] += 1
        if code == 0:  # the damage lies where nothing depends on it: what was kept can be shown
            assert main(["history", "--db", str(record)]) == 0, spoilt.what
            said_well(capsys)
    assert tally[1] > N_EXPORTS / 2


def with_other_letters(content: bytes, rng: np.random.Generator) -> bytes:
    """Return a record that reads well and says something else."""
    spoilt = bytearray(content)
    letters = [at for at, code in enumerate(content) if chr(code) in LETTERS]
    for at in rng.choice(letters, int(rng.integers(1, 4))):
        spoilt[int(at)] = ord(rng.choice(list(LETTERS)))
    return bytes(spoilt)


def test_records_with_damaged_bytes(tmp_path: Path, capsys: Captured, kept: Path) -> None:
    content = (kept / "record").read_bytes()
    rng = np.random.default_rng(zlib.crc32(b"records"))
    record, tally = tmp_path / "record", {0: 0, 1: 0}
    for number in range(N_RECORDS):
        # By turns where the file says how it is laid out, anywhere, and in what it holds.
        if number % 3 == 2:
            before, what = with_other_letters(content, rng), "other letters"
        else:
            span = PAGE_BYTES if number % 3 else len(content)
            what, spoilt = damaged(content[:span], rng)
            before = spoilt + content[span:]
        record.write_bytes(before)
        code = main(["history", "--db", str(record)])
        said_well(capsys)
        tally[code] += 1
        assert record.read_bytes() == before, what
    assert min(tally.values()) > 0


@pytest.mark.parametrize("seed", range(6))
def test_a_check_reports_whatever_its_record_is_like(
    tmp_path: Path, capsys: Captured, kept: Path, seed: int
) -> None:
    content = (kept / "record").read_bytes()
    record = tmp_path / "record"
    record.write_bytes(damaged(content, np.random.default_rng(seed)).content)
    code = main(["check", "--record", "--db", str(record), str(kept / "a.dng")])
    said = said_well(capsys)
    assert code in {1, 3}
    assert "a.dng" in said
    assert "Verdict" in said or "clean" in said.lower()


@pytest.mark.parametrize("trouble", ["may only be read", "disk is full"])
def test_a_check_reports_when_nothing_can_be_kept(tmp_path: Path, kept: Path, trouble: str) -> None:
    plain = run("check", kept / "a.dng")
    folder = tmp_path / "folder"
    folder.mkdir()
    record = folder / "record"
    if trouble == "disk is full":
        words = ("check", "--record", "--db", record, kept / "a.dng")
        result = run_with_little_room(*words, room_bytes=ROOM_BYTES)
    else:
        record.symlink_to("/proc/version")  # a file that nobody may write, not even root
        result = run("check", "--record", "--db", record, kept / "a.dng")
    assert result.returncode == plain.returncode == 3
    assert result.stdout == plain.stdout != b""
    assert b"The frames were judged without it; nothing was kept." in result.stderr
    assert b"fault of the program" not in result.stderr
    assert b"Traceback" not in result.stderr
