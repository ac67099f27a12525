"""The program's own process searches and gives back memory rarely; one that calls it is left alone."""

import os
import platform
import subprocess
import sys
from pathlib import Path

import pytest

ARRAY_BYTES, N_ARRAYS, N_TIMES = 1 << 20, 10, 20
PROGRAM = """
import gc, resource, sys
from motemap.cli.main import main
before = gc.get_threshold()
sys.argv = ["motemap", "check", "--quiet", {shot!r}]
main({argv})

def faults():
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt

import numpy as np
begun = faults()
for _ in range({n_times}):
    [np.ones({n_bytes}, np.uint8) for _ in range({n_arrays})]
print(gc.get_threshold() == before, faults() - begun, file=sys.stderr)
"""


@pytest.fixture
def no_picture(tmp_path: Path) -> Path:
    shot = tmp_path / "shot.jpg"
    shot.write_bytes(b"\xff\xd8 and no more")
    return shot


def outcome(argv: str, shot: Path) -> tuple[bool, int]:
    """Return whether searches are as before, and how often the system fetched memory."""
    script = PROGRAM.format(
        shot=str(shot), argv=argv, n_bytes=ARRAY_BYTES, n_arrays=N_ARRAYS, n_times=N_TIMES
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        # As a user has it: pytest's own settings are not passed on.
        env={name: value for name, value in os.environ.items() if "MALLOC" not in name},
    )
    are_same, n_faults = done.stderr.split()[-2:]
    return are_same == "True", int(n_faults)


def test_the_program_keeps_what_it_freed(no_picture: Path) -> None:
    are_same, n_faults = outcome("", no_picture)
    assert not are_same
    pages = N_ARRAYS * ARRAY_BYTES // os.sysconf("SC_PAGE_SIZE")
    if platform.libc_ver()[0] == "glibc":
        assert n_faults < 2 * pages  # the first time, and not all twenty


def test_who_calls_the_program_keeps_memory_as_it_was(no_picture: Path) -> None:
    are_same, _ = outcome(f"['check', '--quiet', {str(no_picture)!r}]", no_picture)
    assert are_same
