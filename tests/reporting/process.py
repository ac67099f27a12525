"""Work that another process can be handed: importable there by name."""

from __future__ import annotations

import os
import signal
import time
from typing import TYPE_CHECKING, Final

from reporting import builders

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.records import FrameReport
    from motemap.settings import Settings

DIES: Final = -1
ENDED_BY: Final = {-2: signal.SIGTERM, -3: signal.SIGKILL}
"""Items that bring the process down that has them in hand."""


def judged_here(path: Path, _settings: Settings) -> FrameReport:
    """Return a report whose note is the number of the process that made it."""
    return builders.ready(file=str(path), notes=(str(os.getpid()),))


def doubled(item: int, _n_threads: int) -> tuple[int, int]:
    """Return twice the item and this process's number; some items bring the process down."""
    if item == DIES:
        os._exit(70)
    if item in ENDED_BY:
        os.kill(os.getpid(), ENDED_BY[item])
    return 2 * item, os.getpid()


def watch(milliseconds: int, _n_threads: int) -> int:
    """Do nothing for a while."""
    time.sleep(milliseconds / 1000)
    return milliseconds
