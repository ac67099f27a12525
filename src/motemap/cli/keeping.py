"""The options of every command that uses the record of bodies, declared once.

``@keeping.record`` passes ``keeping``, a `Keeping`; ``@keeping.database`` passes ``db``, a Path
or None, which `place_of` turns into the file that is meant.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from motemap.errors import RecordError

if TYPE_CHECKING:
    from collections.abc import Callable

    from motemap.changes import Comparison
    from motemap.cli.console import Console
    from motemap.records import FrameReport
    from motemap.settings import Settings

Function = TypeVar("Function", bound="Callable[..., Any]")

database = click.option(
    "--db",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="File of the record; else MOTEMAP_DB, else one in your folder for data.",
)
"""Passed as ``db``, a Path or None."""

_body = click.option(
    "--body",
    metavar="NAME",
    help="Name of the body, for pictures that carry no serial number.",
)
_flag = click.option(
    "--record",
    "is_recorded",
    is_flag=True,
    help="Use the record of this body and keep what is judged now in it.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """What a command is to do with the record.

    Parameters
    ----------
    is_recorded : bool
        Whether to use it at all.
    db : Path or None
        Its file, when one was named.
    body : str or None
        Name for a body without serial number.
    """

    is_recorded: bool = False
    db: Path | None = None
    body: str | None = None


def record(function: Function) -> Function:
    """Add ``--record``, ``--db`` and ``--body``."""

    @wraps(function)
    def with_keeping(*args: Any, **values: Any) -> Any:
        names = ("is_recorded", "db", "body")
        wanted = Keeping(**{name: values.pop(name) for name in names})
        return function(*args, keeping=wanted, **values)

    undecorated: Any = with_keeping
    decorated: Function = _flag(database(_body(undecorated)))
    return decorated


def place_of(db: Path | None) -> Path:
    """Return the file of the record."""
    from motemap.history import default_place

    return db if db is not None else default_place(os.environ, Path.home())


def with_record(
    frames: tuple[FrameReport, ...], settings: Settings, keeping: Keeping, console: Console
) -> tuple[FrameReport, ...]:
    """Judge frames in the light of the record and keep them; a bad record stops neither.

    Parameters
    ----------
    frames : tuple of FrameReport
        As judged by themselves.
    settings : Settings
    keeping : Keeping
        What is asked for; without ``--record`` the frames are returned as they are.
    console : Console
        Told of trouble with the record.

    Returns
    -------
    tuple of FrameReport
        The frames as they are without the record where it cannot be used.
    """
    if not keeping.is_recorded:
        return frames
    from motemap.pipeline.record import keep_and_judge

    try:
        return keep_and_judge(frames, place_of(keeping.db), settings, body=keeping.body)
    except RecordError as error:
        console.say(f"Warning: {error} The frames were judged without it; nothing was kept.")
        return frames


def keep_comparison(
    comparison: Comparison, settings: Settings, keeping: Keeping, console: Console
) -> None:
    """Keep the states of a comparison if asked to; a bad record does not stop the report."""
    if not keeping.is_recorded:
        return
    from motemap.pipeline.record import keep_sequence

    try:
        keep_sequence(comparison, place_of(keeping.db), settings, body=keeping.body)
    except RecordError as error:
        console.say(f"Warning: {error} Nothing was kept.")
