"""Where a finished report goes: standard output, or a file written whole or not at all."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from motemap.pipeline.write import write_whole

if TYPE_CHECKING:
    from pathlib import Path


def emit(report: str, output: Path | None, *, is_utf8: bool = False) -> None:
    """Write a report to `output`, or to standard output when that is None.

    A reader that has gone (``| head``) is no fault: the rest is dropped quietly, and the
    command goes on to its exit code.

    Parameters
    ----------
    report : str
        The whole report.
    is_utf8 : bool
        Whether the form demands UTF-8 whatever the terminal speaks (JSON, CSV). Files are
        always UTF-8.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    if output is not None:
        write_whole(output, report.encode("utf-8", "backslashreplace"))
        return
    encoding = "utf-8" if is_utf8 else (sys.stdout.encoding or "utf-8")
    try:
        sys.stdout.buffer.write(report.encode(encoding, "backslashreplace"))
        sys.stdout.flush()
    except BrokenPipeError:
        leave_pipe()


def leave_pipe() -> None:
    """Send what is still to be written nowhere."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
