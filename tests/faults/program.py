"""The program as users start it: a process of its own, with what it says and how it ends."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

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


def begin(*args: str | bytes | Path, **more: Any) -> subprocess.Popen[bytes]:
    """Start the program and leave it running."""
    given: dict[str, Any] = {
        "env": surroundings(),
        "stdout": subprocess.PIPE,
        "stderr": subprocess.PIPE,
    }
    return subprocess.Popen([*COMMAND, *args], **{**given, **more})
