"""Files written whole or not at all, and never over a picture that was read."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from motemap.errors import OutputError, SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterable


def write_whole(target: Path, content: bytes) -> None:
    """Write `content` to a file beside `target`, then put it in its place in one step.

    Whatever happens on the way, `target` is either what it was or the whole of `content`.

    Raises
    ------
    OutputError
        If it cannot be written: no such folder, no right to, disk full.
    """
    try:
        _write_beside(target, content)
    except (OSError, RuntimeError) as error:  # Python before 3.13 says so of links in a circle
        reason = (error.strerror if isinstance(error, OSError) else None) or error
        raise OutputError(
            f"The file could not be written ({reason}).",
            repair="Choose another place with -o, or make room there.",
            path=str(target),
        ) from error


def _write_beside(target: Path, content: bytes) -> None:
    """Write a file beside the target and put it in its place; devices are written to directly."""
    if target.exists() and not target.is_file():
        _write_through(target, content)
        return
    # A link is followed, so that the link stays and what it points to is replaced.
    place = target.resolve()
    handle, name = tempfile.mkstemp(prefix=".motemap-", dir=place.parent)
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        beside.chmod(_mode_for(place))
        beside.replace(place)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def _write_through(device: Path, content: bytes) -> None:
    # A pipe or a device (/dev/stdout) cannot be replaced, only written to.
    with device.open("wb") as stream:
        stream.write(content)


def _mode_for(place: Path) -> int:
    if place.exists():
        return place.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def refuse_target(target: Path | None, inputs: Iterable[Path]) -> None:
    """Refuse, before any work is done, a place that the report cannot or must not go to.

    Raises
    ------
    SettingsError
        If `target` is one of the inputs, under whatever name, a folder, or no place at all.
    """
    if target is None:
        return
    try:
        refusal = _refusal(target, inputs)
    except (OSError, RuntimeError, ValueError) as error:  # too long a name, a link in a circle
        reason = error.strerror if isinstance(error, OSError) else error
        refusal = f"There is no such place ({reason}).", "Choose another one with -o."
    if refusal is not None:
        cause, repair = refusal
        raise SettingsError(cause, repair=repair, path=str(target))


def _refusal(target: Path, inputs: Iterable[Path]) -> tuple[str, str] | None:
    """Return what is wrong with a place and how to mend it, None when nothing is."""
    if not target.parent.is_dir():
        return "The folder for it does not exist.", "Make it first, or choose another place."
    if target.resolve().is_dir():
        return "This is a folder.", "Name a file in it."
    if target.exists() and any(_is_same(target, path) for path in inputs):
        cause = "This is one of the pictures to be read; it will not be written over."
        return cause, "Choose another name with -o."
    return None


def _is_same(target: Path, path: Path) -> bool:
    try:
        return target.samefile(path)
    except OSError:  # standard input, or what cannot be looked at: nothing to write over
        return False
