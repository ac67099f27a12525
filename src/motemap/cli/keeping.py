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

from motemap.cli import options
from motemap.errors import RecordError, SettingsError

if TYPE_CHECKING:
    from collections.abc import Callable

    from motemap.changes import Comparison
    from motemap.cli.console import Console
    from motemap.pipeline.record import LookAgain
    from motemap.records import FrameReport
    from motemap.settings import Settings

Function = TypeVar("Function", bound="Callable[..., Any]")

MAKE_FOLDER = "Make the folder first, or name another file."


def _is_in_a_folder(place: Path) -> bool:
    """Whether the file of a record could be made: a slip of the pen makes no folder."""
    try:
        return place.parent.exists()
    except OSError:  # longer than a name can be: for whoever opens it to say
        return True


def _known_folder(_ctx: click.Context, _param: click.Parameter, value: Path | None) -> Path | None:
    if value is not None and not _is_in_a_folder(value):
        raise click.BadParameter(f"there is no folder '{value.parent}'. {MAKE_FOLDER}")
    return value


database = click.option(
    "--db",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    callback=_known_folder,
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
        idle = "--db" if wanted.db is not None else "--body" if wanted.body is not None else None
        if not wanted.is_recorded and idle is not None:
            raise click.UsageError(
                f"{idle} is of no use without the record: give --record as well."
            )
        if wanted.is_recorded:
            place_of(wanted.db)  # refused before any work
        return function(*args, keeping=wanted, **values)

    undecorated: Any = with_keeping
    decorated: Function = options.together(_flag, database, _body)(undecorated)
    return decorated


def place_of(db: Path | None) -> Path:
    """Return the file of the record.

    Raises
    ------
    SettingsError
        If the user named a file in a folder that is not there; only the usual one is made.
    """
    from motemap.history import VARIABLE, default_place

    if db is not None:
        return db
    place = default_place(os.environ, Path.home())
    if os.environ.get(VARIABLE) and not _is_in_a_folder(place):
        raise SettingsError(
            f"{VARIABLE} names a file in a folder that is not there.",
            repair=MAKE_FOLDER,
            path=str(place),
        )
    return place


def with_record(
    frames: tuple[FrameReport, ...],
    settings: Settings,
    keeping: Keeping,
    console: Console,
    *,
    again: LookAgain | None = None,
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
    again : callable, optional
        Judges a frame anew by the stack distance that the record knows of its body.

    Returns
    -------
    tuple of FrameReport
        The frames as they are without the record where it cannot be used.
    """
    if not keeping.is_recorded:
        return frames
    from motemap.pipeline.record import keep_and_judge

    try:
        return keep_and_judge(
            frames, place_of(keeping.db), settings, body=keeping.body, again=again
        )
    except RecordError as error:
        console.say(f"Warning: {error} The frames were judged without it; nothing was kept.")
        return frames


def keep_comparison(
    comparison: Comparison, settings: Settings, keeping: Keeping, console: Console
) -> Comparison:
    """Keep the states of a comparison if asked to; a bad record does not stop the report.

    Returns
    -------
    Comparison
        With notes on what could not be kept.
    """
    if not keeping.is_recorded:
        return comparison
    from motemap.pipeline.record import keep_sequence

    try:
        return keep_sequence(comparison, place_of(keeping.db), settings, body=keeping.body)
    except RecordError as error:
        console.say(f"Warning: {error} Nothing was kept.")
        return comparison
