"""SQLite's complaints in words that say what to do."""

from __future__ import annotations

import json
import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING

from motemap.errors import RecordError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

DAMAGED = (
    "The record is damaged.",
    "It was left as it is. Move it away and import an export, or name another file with --db.",
)

KNOWN = (
    ("locked", "Another program holds the record.", "Try again when it is done."),
    ("readonly", "The record may only be read.", "Check the rights to the file and its folder."),
    ("full", "The disk is full: nothing was kept.", "Make room, then record again."),
    (
        "unable to open",
        "The record cannot be opened.",
        "Check the folder and its rights, or name another file with --db.",
    ),
    ("disk I/O", "The disk could not be read or written.", "Check the disk, then record again."),
)
"""Part of SQLite's message, what it means, what to do."""


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn the errors of a block that works on a record into `RecordError`."""
    try:
        yield
    except sqlite3.OperationalError as error:
        cause, repair = _meaning(str(error))
        raise RecordError(cause, repair=repair, path=str(path)) from error
    except (sqlite3.Error, json.JSONDecodeError) as error:
        raise RecordError(DAMAGED[0], repair=DAMAGED[1], path=str(path)) from error
    except OSError as error:
        raise RecordError(
            f"The record's folder cannot be used ({error.strerror or error}).",
            repair="Check the folder and its rights, or name another file with --db.",
            path=str(path),
        ) from error


def _meaning(message: str) -> tuple[str, str]:
    for part, cause, repair in KNOWN:
        if part in message:
            return cause, repair
    return DAMAGED[0].removesuffix(".") + f" ({message}).", DAMAGED[1]
