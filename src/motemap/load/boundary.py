"""The one place where faults of reading libraries become errors of this package."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from motemap.errors import LoadError, UnreadableFile

if TYPE_CHECKING:
    from collections.abc import Iterator

_LONGEST_DETAIL = 100
_AGAIN = "Copy the file from the card again; if it stays like this, shoot the frame again."


@contextmanager
def naming(path: str) -> Iterator[None]:
    """Give the file's name to errors that were raised without one."""
    try:
        yield
    except LoadError as fault:
        fault.path = fault.path or path
        raise


@contextmanager
def reading(what: str, path: str) -> Iterator[None]:
    """Turn whatever a decoder raises into `UnreadableFile`.

    Damaged pictures make decoders raise nearly anything: OSError, ValueError, SyntaxError,
    ZeroDivisionError, MemoryError and more were seen. None of them is a fault of the program.

    Raises
    ------
    LoadError
        As raised inside, with the file's name; or `UnreadableFile` for any other fault.
    """
    try:
        with naming(path):
            yield
    except LoadError:
        raise
    except MemoryError as fault:
        raise UnreadableFile(
            f"The {what} claims to be too large for the memory of this computer.",
            repair="If the picture really is that large, check a smaller copy of it.",
            path=path,
        ) from fault
    except Exception as fault:
        raise UnreadableFile(
            f"The {what} is damaged or cut off ({_detail(fault)}).", repair=_AGAIN, path=path
        ) from fault


def _detail(fault: Exception) -> str:
    """Return what a fault says, short and fit to print."""
    said = fault.args[0] if fault.args else ""
    text = said.decode("ascii", "replace") if isinstance(said, bytes) else str(fault)
    line = "".join(letter if letter.isprintable() else " " for letter in text).strip()
    line = line if len(line) <= _LONGEST_DETAIL else line[:_LONGEST_DETAIL] + "..."
    return line or type(fault).__name__
