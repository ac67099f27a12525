"""Many processes at one record, some of them killed."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import record_writers
from motemap.history import Store

N_KILLS = 200
LONGEST_S = 900
"""For a slow disk under load; the writers themselves say when they stand still."""


def run(folder: Path, *, n_writers: int, n_kills: int, n_states: int) -> tuple[Path, set[str]]:
    """Let the writers write; return the record and what was acknowledged."""
    place, notes = folder / "history.sqlite3", folder / "notes"
    notes.mkdir()
    script = Path(record_writers.__file__)
    numbers = [str(each) for each in (n_writers, n_kills, n_states, 20310502)]
    environment = {**os.environ, "PYTHONPATH": str(script.parent), "OPENBLAS_NUM_THREADS": "1"}
    subprocess.run(
        [sys.executable, str(script), str(place), str(notes), *numbers],
        check=True,
        env=environment,
        timeout=LONGEST_S,
    )
    acknowledged = {
        line
        for file in notes.iterdir()
        # A writer killed while it wrote a line has not acknowledged that state.
        for line in file.read_text(encoding="utf-8").split("\n")[:-1]
    }
    return place, acknowledged


def digests(place: Path) -> set[str]:
    with Store.open(place, can_write=False) as store:
        return {each.digest for kept in store.bodies() for each in store.entries(kept.body)}


def test_eight_processes_at_once_lose_nothing(tmp_path: Path) -> None:
    place, acknowledged = run(tmp_path, n_writers=8, n_kills=0, n_states=8)
    assert len(acknowledged) == 8 * 8
    assert digests(place) == acknowledged


def test_a_killed_process_leaves_a_whole_record_with_all_it_acknowledged(tmp_path: Path) -> None:
    place, acknowledged = run(tmp_path, n_writers=8, n_kills=N_KILLS, n_states=10**6)
    with Store.open(place):  # rolls back what a killed process left half done
        pass
    connection = sqlite3.connect(place)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    connection.close()
    assert len(acknowledged) > N_KILLS
    assert acknowledged <= digests(place)
