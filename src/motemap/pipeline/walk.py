"""From what the user names to the pictures to be read, in an order of their own."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from motemap.errors import SettingsError
from motemap.load import RAW_SUFFIXES
from motemap.records import ErrorNote, FrameReport

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

CAMERA_PICTURE_SUFFIXES: Final = frozenset({".jpg", ".jpeg", ".jpe", ".heic", ".heif", ".hif"})
"""Endings of what a camera writes beside a raw file of the same shot."""

PICTURE_SUFFIXES: Final = RAW_SUFFIXES | CAMERA_PICTURE_SUFFIXES | {".tif", ".tiff", ".png"}
"""Endings that count as a picture when a folder is walked."""

SKIPPED_FOLDERS: Final = frozenset({"@eadir", "__macosx", "$recycle.bin", "lost.dir"})
"""Folders (lower case) in which storage devices keep thumbnails and rubbish."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What there is to read.

    Parameters
    ----------
    paths : tuple of Path
        Pictures in canonical order, each once.
    troubles : tuple of FrameReport
        Folders and files that cannot even be tried, as unreadable frames.
    """

    paths: tuple[Path, ...]
    troubles: tuple[FrameReport, ...]


def canonical(path: Path) -> tuple[str, ...]:
    """Return the key by which paths are put in order: folder by folder, then by name."""
    return path.parts


def find_frames(names: Iterable[str | Path]) -> Found:
    """Find the pictures that files and folders stand for.

    A file given by name is always tried. A folder is walked with all below it; what is no
    picture by its ending, and what is hidden, is passed over. The result does not depend on
    the order of `names`; a picture named twice is there once.

    Raises
    ------
    SettingsError
        If a name leads nowhere, or to a folder without a picture.
    """
    paths: dict[str, Path] = {}
    troubles: dict[str, FrameReport] = {}
    for given in sorted({Path(name) for name in names}, key=canonical):
        for each in _look_at(given):
            if isinstance(each, FrameReport):
                troubles.setdefault(each.file, each)
            else:
                paths.setdefault(os.path.realpath(each), each)
    return Found(
        paths=tuple(sorted(paths.values(), key=canonical)),
        troubles=tuple(troubles[file] for file in sorted(troubles)),
    )


def _look_at(given: Path) -> list[Path | FrameReport]:
    """Return the pictures that one name means, or what is wrong with it."""
    try:
        mode = given.stat().st_mode
    except PermissionError as error:
        return [_trouble(given, error)]
    except (OSError, ValueError) as error:
        raise SettingsError(
            "There is no such file or folder.",
            repair="Check how it is written, and that the card or drive is there.",
            path=str(given),
        ) from error
    if stat.S_ISDIR(mode):
        return _pictures_in(given)
    if not stat.S_ISREG(mode):
        return [_no_file(given)]
    return [given]


def _pictures_in(folder: Path) -> list[Path | FrameReport]:
    found = list(_walked(folder))
    if not found:
        raise SettingsError(
            "There is no picture in this folder.",
            repair="Give the folder with the test shots, or the files by name.",
            path=str(folder),
        )
    return found


def _walked(top: Path) -> Iterator[Path | FrameReport]:
    """Yield the pictures in a folder and all below it, in order, and what cannot be looked at."""
    waiting = [top]
    seen: set[str] = set()
    while waiting:
        folder = waiting.pop()
        real = os.path.realpath(folder)
        if real in seen:  # a link that leads back up
            continue
        seen.add(real)
        try:
            entries = sorted(folder.iterdir(), key=canonical)
        except OSError as error:
            yield _trouble(folder, error)
            continue
        folders = []
        for entry in entries:
            try:
                if _is_picture(entry):
                    yield entry
                elif _is_wanted_folder(entry):
                    folders.append(entry)
            except OSError as error:  # one that cannot even be looked at
                yield _trouble(entry, error)
        waiting += reversed(folders)


def _is_picture(entry: Path) -> bool:
    if entry.name.startswith(".") or entry.suffix.lower() not in PICTURE_SUFFIXES:
        return False
    # A link that leads nowhere is kept, so that it is reported; a pipe would never end.
    return entry.is_file() or (entry.is_symlink() and not entry.exists())


def _is_wanted_folder(entry: Path) -> bool:
    is_hidden = entry.name.startswith(".") or entry.name.lower() in SKIPPED_FOLDERS
    return not is_hidden and entry.is_dir()


def _trouble(path: Path, error: OSError) -> FrameReport:
    return _unreadable(
        path,
        cause=f"It cannot be opened ({error.strerror or error}).",
        repair="Check the rights to it, or copy the pictures to a folder of your own.",
    )


def _no_file(path: Path) -> FrameReport:
    return _unreadable(
        path,
        cause="This is neither a file nor a folder.",
        repair="Hand a picture over on standard input with - instead.",
    )


def _unreadable(path: Path, *, cause: str, repair: str) -> FrameReport:
    return FrameReport(
        file=str(path), state="unreadable", error=ErrorNote(cause=cause, repair=repair)
    )
