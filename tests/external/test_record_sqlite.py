"""The record opened by SQLite's own command line program.

Authority: ``sqlite3``, SQLite's shell (https://sqlite.org/cli.html; Debian package sqlite3),
built apart from the library that Python uses. File format: https://sqlite.org/fileformat2.html
(user version at byte 60, application id at byte 68).
"""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from kept import KEY, entry, report
from motemap.history import Store
from motemap.history.schema import APPLICATION_ID, SCHEMA_VERSION

pytestmark = pytest.mark.external


@pytest.fixture
def record(tmp_path: Path) -> Path:
    place = tmp_path / "history.sqlite3"
    with Store.open(place) as store:
        store.put(
            [
                entry(report("2031-05-02T10:00:00")),
                entry(report("2031-05-03T10:00:00"), done=("blower",)),
            ]
        )
    return place


def ask(record: Path, *statements: str) -> str:
    shell = shutil.which("sqlite3")
    assert shell is not None, "the sqlite3 command line program is needed (Debian: sqlite3)"
    done = subprocess.run(
        [shell, "-readonly", str(record), *statements], check=True, capture_output=True, text=True
    )
    return done.stdout.strip()


def test_the_shell_finds_a_whole_file(record: Path) -> None:
    assert ask(record, "PRAGMA integrity_check") == "ok"
    assert ask(record, "PRAGMA foreign_key_check") == ""
    assert ask(record, "PRAGMA user_version") == str(SCHEMA_VERSION)
    assert ask(record, "PRAGMA application_id") == str(APPLICATION_ID)


def test_the_header_is_as_the_file_format_has_it(record: Path) -> None:
    header = record.read_bytes()[:100]
    assert header[:16] == b"SQLite format 3\x00"
    assert int.from_bytes(header[60:64], "big") == SCHEMA_VERSION
    assert header[68:72] == b"MOTE"


def test_the_shell_reads_what_was_kept(record: Path) -> None:
    statement = (
        "SELECT serial, taken_at, done, found, level FROM state"
        " JOIN body ON body_id = body.id ORDER BY taken_at"
    )
    rows = json.loads(ask(record, ".mode json", statement))
    shared = {"serial": KEY.serial, "found": 2, "level": "ready"}
    assert rows == [
        {**shared, "taken_at": "2031-05-02T10:00:00", "done": "[]"},
        {**shared, "taken_at": "2031-05-03T10:00:00", "done": '["blower"]'},
    ]


def test_the_shell_counts_marks_by_place_and_size(record: Path) -> None:
    found = ask(
        record,
        "SELECT count(*), round(max(depth_frac), 3), min(json_extract(rest, '$.depth_at.22'))"
        " FROM spot",
    )
    assert found == "4|0.2|0.1"


def test_what_the_shell_dumps_is_the_same_record(record: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    ask(record, f".backup {copy}")
    with Store.open(record, can_write=False) as one, Store.open(copy, can_write=False) as two:
        assert one.entries(KEY) == two.entries(KEY)
