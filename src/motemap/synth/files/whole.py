"""Files that are there whole or not at all."""

import contextlib
import secrets
from collections.abc import Iterable
from pathlib import Path

from motemap.errors import OutputError


def write_whole(path: Path, chunks: Iterable[bytes | memoryview]) -> None:
    """Write `chunks` to a new file beside `path` and move it into place when complete.

    Raises
    ------
    OutputError
        When the folder cannot be written to or the disk is full; `path` is then as before.
    """
    part = path.parent / f".{secrets.token_hex(8)}.part"
    try:
        with part.open("xb") as sink:
            sink.writelines(chunks)
        part.replace(path)
    except OSError as fault:
        raise OutputError(
            f"The file could not be written ({fault.strerror or fault}).",
            repair="Check that the folder exists, may be written to, and has room.",
            path=str(path),
        ) from fault
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
