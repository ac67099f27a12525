"""Which files are one and the same shot: a raw and the picture the camera wrote beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.load import RAW_SUFFIXES
from motemap.pipeline.walk import CAMERA_PICTURE_SUFFIXES, canonical

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

SECONDS_LENGTH: Final = len("2031-05-02T10:15:00")
"""Times are compared to the second: fractions and zone are not in every file of a shot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One press of the button, as far as the names tell.

    Parameters
    ----------
    path : Path
        The file to judge.
    twins : tuple of Path
        Files of the same name beside a raw that may be the same shot.
    """

    path: Path
    twins: tuple[Path, ...] = ()


def group_shots(paths: Iterable[Path]) -> tuple[Shot, ...]:
    """Put each picture with the raw of the same name in the same folder, in canonical order.

    >>> from pathlib import Path
    >>> [len(shot.twins) for shot in group_shots([Path("a.jpg"), Path("a.dng"), Path("b.jpg")])]
    [1, 0]
    """
    ordered = sorted(set(paths), key=canonical)
    raw_by_stem: dict[tuple[Path, str], Path] = {}
    for path in ordered:
        if path.suffix.lower() in RAW_SUFFIXES:
            raw_by_stem.setdefault(_stem(path), path)
    twins: dict[Path, list[Path]] = {path: [] for path in ordered}
    for path in ordered:
        raw = raw_by_stem.get(_stem(path))
        if raw is not None and path.suffix.lower() in CAMERA_PICTURE_SUFFIXES:
            twins[raw].append(path)
            del twins[path]
    return tuple(Shot(path=path, twins=tuple(found)) for path, found in twins.items())


def _stem(path: Path) -> tuple[Path, str]:
    return path.parent, path.stem.casefold()


def is_same_time(one: str | None, other: str | None) -> bool:
    """Return whether two times of one name speak of one shot; an unknown time is no doubt."""
    if one is None or other is None:
        return True
    return one[:SECONDS_LENGTH] == other[:SECONDS_LENGTH]
