"""The options of every command that uses the record of bodies, declared once.

``@keeping.record`` passes ``is_recorded``, ``db`` and ``body``; ``@keeping.database`` passes
``db`` alone. `place_of` says which file is meant.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from motemap.errors import RecordError

if TYPE_CHECKING:
    from collections.abc import Callable

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

body = click.option(
    "--body",
    metavar="NAME",
    help="Name of the body, for pictures that carry no serial number.",
)
"""Passed as ``body``, a str or None."""

_flag = click.option(
    "--record",
    "is_recorded",
    is_flag=True,
    help="Use the record of this body and keep what is judged now in it.",
)


def record(function: Function) -> Function:
    """Add ``--record``, ``--db`` and ``--body``."""
    decorated: Function = _flag(database(body(function)))
    return decorated


def place_of(db: Path | None) -> Path:
    """Return the file of the record."""
    from motemap.history import default_place

    return db if db is not None else default_place(os.environ, Path.home())


def with_record(
    frames: tuple[FrameReport, ...],
    settings: Settings,
    *,
    place: Path,
    body: str | None,
    console: Console,
) -> tuple[FrameReport, ...]:
    """Judge frames in the light of the record and keep them; a bad record stops neither.

    Parameters
    ----------
    place : Path
        File of the record.
    body : str or None
        Name for a body without serial number.
    console : Console
        Told of trouble with the record.

    Returns
    -------
    tuple of FrameReport
        The frames as they are without the record where it cannot be used.
    """
    from motemap.pipeline.record import judge_with_record, keep

    try:
        frames = judge_with_record(frames, place, settings, body=body)
        return keep(frames, place, settings, body=body)
    except RecordError as error:
        console.say(f"Warning: {error} The frames were judged without it; nothing was kept.")
        return frames
