"""Where a finished report goes: standard output, or a file written whole or not at all."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from motemap.errors import OutputError
from motemap.pipeline.write import write_whole

if TYPE_CHECKING:
    from pathlib import Path
    from typing import TextIO

    from motemap.report.forms import Form


def emit(report: str, output: Path | None, *, form: Form = "text") -> None:
    """Write a report to `output`, or to standard output when that is None.

    A reader that has gone (``| head``) is no fault: the rest is dropped quietly, and the
    command goes on to its exit code.

    Parameters
    ----------
    report : str
        The whole report.
    form : {"text", "json", "csv"}
        Text is written as the terminal speaks; JSON and CSV are UTF-8 wherever they go, and so
        are files.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    if output is not None:
        write_whole(output, report.encode("utf-8", "backslashreplace"))
        return
    if sys.stdout is None:
        raise OutputError("Standard output is closed.", repair="Choose a file with -o.")
    encoding = (sys.stdout.encoding if form == "text" else None) or "utf-8"
    content = report.encode(encoding, "backslashreplace")
    try:
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.flush()
    except BrokenPipeError:
        leave_stdout()
    except OSError as error:
        leave_stdout()
        raise OutputError(
            f"Standard output could not be written ({error.strerror or error}).",
            repair="Make room there, or choose a file with -o.",
        ) from error


def leave_stdout() -> None:
    """Send what is still to be written nowhere, so that Python does not try it again."""
    leave(sys.stdout)


def leave(stream: TextIO) -> None:
    """Send what is still to be written to a standard stream nowhere.

    Python would try again at its end, and make an exit code of its own of the failure.
    """
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
