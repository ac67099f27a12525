"""How the program's own process goes about memory; nothing of it is set as a library."""

from __future__ import annotations

import atexit
import gc
import sys
from typing import Final

OBJECTS_BETWEEN: Final = 100_000
"""New objects between two searches for such as only hold each other. A frame leaves a few small
ones, and looking for them after every 700 takes 2 to 4 per cent of a run."""
SEARCHES_BETWEEN: Final = 100
"""Searches among the new ones between two that also go through those which an earlier one left,
the records of ten thousand marks for one."""

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3
"""Numbers of two settings of the GNU C library: mallopt(3), Linux man-pages."""
KEPT_BYTES: Final = 1 << 30
LARGEST_KEPT_BYTES: Final = 32 << 20
"""The most that this setting may be."""


def search_rarely() -> None:
    """Look for dead objects rarely, and not again at the end: the system takes all back at once."""
    gc.set_threshold(OBJECTS_BETWEEN, SEARCHES_BETWEEN)
    atexit.register(gc.freeze)


def keep_freed() -> None:
    """Keep freed memory for the next array.

    The GNU C library gives what large arrays had back to the system, which then clears every page
    of the next one anew: a twentieth of the time of a frame. What is kept is what one frame needs,
    however many there are. Where there is another C library nothing is set.
    """
    if not sys.platform.startswith("linux"):
        return
    # Imported here: help does without it.
    import ctypes

    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(M_MMAP_THRESHOLD, LARGEST_KEPT_BYTES)
        mallopt(M_TRIM_THRESHOLD, KEPT_BYTES)
