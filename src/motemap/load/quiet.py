"""What C libraries print by themselves, kept off the terminal."""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_STDERR = 2


@contextmanager
def quiet_decoders() -> Iterator[None]:
    """Silence file descriptor 2 and give `sys.stderr` a copy of it to go on writing to.

    The raw decoder prints its complaints on standard error past Python. Everything it has to
    say also comes back as an error, so nothing is lost. To be entered once, around a whole run
    and before threads start: the descriptor belongs to the process, and switching it for each
    file would swallow what other threads write meanwhile. Does nothing where `sys.stderr` is
    not the real one.
    """
    real = sys.stderr
    try:
        is_real = real is not None and real.fileno() == _STDERR
    except (OSError, ValueError):
        is_real = False
    if not is_real:
        yield
        return
    real.flush()
    kept = os.dup(_STDERR)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, _STDERR)
    os.close(nowhere)
    own = os.fdopen(kept, "w", buffering=1, encoding=real.encoding, errors=real.errors)
    sys.stderr = own
    try:
        yield
    finally:
        sys.stderr = real
        with suppress(OSError):  # a full disk: what was not said before is not said now
            own.flush()
        os.dup2(kept, _STDERR)
        with suppress(OSError):
            own.close()
