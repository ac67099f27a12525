"""One frame from file to report.

The stages after loading are imported while the file is decoded: the decoder works outside the
interpreter, and importing takes longer than most of the stages take to work.
"""

from __future__ import annotations

import logging
from importlib import import_module
from typing import TYPE_CHECKING, Any

from motemap.errors import LoadError, fault_words
from motemap.load import load_picture
from motemap.records import ErrorNote, FrameReport
from motemap.strips import same_workers

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.pipeline.judging import Look
    from motemap.records import Frame, ImageInfo, Metadata, Stack
    from motemap.settings import Settings

LOGGER = logging.getLogger(__name__)


def import_stages() -> Any:
    """Return the module of all that follows decoding, imported when it is first asked for."""
    return import_module("motemap.pipeline.judging")


def analyse(path: Path, settings: Settings, *, content: bytes | None = None) -> FrameReport:
    """Judge one test shot.

    Parameters
    ----------
    path : Path
        The picture.
    settings : Settings
    content : bytes, optional
        The picture itself when it does not come from a file; `path` then only names it.

    Returns
    -------
    FrameReport
        A file that cannot be used gives a report with state "unreadable"; nothing is raised
        for it.
    """
    return look_at(path, settings, content=content).report


@same_workers()
def look_at(
    path: Path,
    settings: Settings,
    *,
    content: bytes | None = None,
    known_stack: Stack | None = None,
) -> Look:
    """Judge one test shot and keep what it was judged from; otherwise as `analyse`.

    A stack distance that is known of the body is reckoned with where the user gave none.
    """
    try:
        frame = load_frame(path, settings, content=content)
    except LoadError as error:
        LOGGER.debug("cannot be used: %s", path, exc_info=error)
        note = ErrorNote(cause=error.cause, repair=error.repair)
        report = FrameReport(file=str(path), state="unreadable", error=note)
        unread: Look = import_stages().Look(report=report)
        return unread
    look: Look = import_stages().judge_frame(frame, settings, known_stack=known_stack)
    return look


def failed(file: str, error: Exception) -> FrameReport:
    """Return the report on a picture that brought the program down.

    One frame that does so must not take the others with it.
    """
    note = ErrorNote(
        cause=f"The program failed on this picture ({fault_words(error)}).",
        repair="Run it again with --debug for the trace, and report it, please.",
    )
    return FrameReport(file=file, state="unreadable", error=note)


def load_frame(path: Path, settings: Settings, *, content: bytes | None = None) -> Frame:
    """Load one picture and settle how large its sensor is.

    Raises
    ------
    LoadError
        If the file cannot be used.
    """

    def bin_for(info: ImageInfo, metadata: Metadata) -> int:
        bin_px: int = import_stages().wished_bin(info, metadata, settings.work)
        return bin_px

    loaded = load_picture(path, bin_for, content=content, meanwhile=import_stages)
    taken: Frame = import_stages().frame_of(path, loaded, settings.work)
    return taken
