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
    except OSError as error:
        raise OutputError(
            f"The file could not be written ({error.strerror or error}).",
            repair="Choose another place with -o, or make room there.",
            path=str(target),
        ) from error


def _write_beside(target: Path, content: bytes) -> None:
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
        If `target` is one of the inputs, under whatever name, or its folder is missing.
    """
    if target is None:
        return
    if not target.parent.is_dir():
        raise SettingsError(
            "The folder for the report does not exist.",
            repair="Make it first, or choose another place with -o.",
            path=str(target),
        )
    if target.exists() and any(path.exists() and target.samefile(path) for path in inputs):
        raise SettingsError(
            "This is one of the pictures to be read; it will not be written over.",
            repair="Choose another name with -o.",
            path=str(target),
        )
