"""The program as users start it: a process of its own, with what it says and how it ends."""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

LONGEST_S: Final = 120.0
"""For a machine on which much else is going on."""

COMMAND: Final = (sys.executable, "-m", "motemap")


def surroundings(**more: str) -> Mapping[str, str]:
    """Return the environment for a run: one thread each, no colours, and what is wanted more."""
    return {**os.environ, "OMP_NUM_THREADS": "1", "NO_COLOR": "1", **more}


def run(
    *args: str | bytes | Path, before: tuple[str, ...] = (), **more: Any
) -> subprocess.CompletedProcess[bytes]:
    """Run the program to its end.

    Parameters
    ----------
    before : tuple of str
        A command that the program is to be started by.
    **more
        As `subprocess.run` knows them.
    """
    given: dict[str, Any] = {"env": surroundings(), "timeout": LONGEST_S}
    if "stdout" not in more and "stderr" not in more:
        given["capture_output"] = True
    return subprocess.run([*before, *COMMAND, *args], check=False, **{**given, **more})


def run_with_little_room(
    *args: str | bytes | Path, room_bytes: int
) -> subprocess.CompletedProcess[bytes]:
    """Run the program where no file grows beyond so many bytes, as on a disk that is nearly full.

    Python must not try to keep its bytecode there: it would leave modules cut off for good.
    """

    def leave_little_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room_bytes, room_bytes))

    env = surroundings(PYTHONDONTWRITEBYTECODE="1")
    return run(*args, env=env, preexec_fn=leave_little_room)


def begin(*args: str | bytes | Path, **more: Any) -> subprocess.Popen[bytes]:
    """Start the program and leave it running."""
    given: dict[str, Any] = {
        "env": surroundings(),
        "stdout": subprocess.PIPE,
        "stderr": subprocess.PIPE,
    }
    return subprocess.Popen([*COMMAND, *args], **{**given, **more})


def many_of(picture: Path, n_copies: int = 80) -> None:
    """Lay copies of a picture beside it, so that judging them all takes a while."""
    for number in range(n_copies):
        shutil.copyfile(picture, picture.with_name(f"{number}{picture.suffix}"))


def workers_of(process: subprocess.Popen[bytes]) -> list[int]:
    """Return the numbers of the processes that a run has started."""
    lists = Path(f"/proc/{process.pid}/task").glob("*/children")
    return [int(number) for each in lists for number in each.read_text(encoding="ascii").split()]


def wait_for_work(process: subprocess.Popen[bytes], n_workers: int = 2) -> None:
    """Wait until the processes or threads that judge are there: before, there is no work."""
    tasks = Path(f"/proc/{process.pid}/task")
    while max(len(workers_of(process)), len(list(tasks.iterdir())) - 1) < n_workers:
        assert process.poll() is None
        time.sleep(0.01)


def is_there(pid: int) -> bool:
    """Return whether a process runs; one that has ended and waits to be seen off does not."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii")
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] not in {"Z", "X"}
