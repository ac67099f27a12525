"""Judging once more: a finished report by its spots, or a picture by what its body's record knows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from motemap.history import mean_stack
from motemap.pipeline.conclusion import conclude
from motemap.pipeline.frame import look_at
from motemap.pipeline.judging import stack_remark

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.pipeline.judging import Look
    from motemap.records import FrameReport, Stack
    from motemap.settings import Settings, WorkSettings
    from motemap.verdict import PastPasses


def judge_again(
    report: FrameReport, work: WorkSettings, past: PastPasses | None = None
) -> FrameReport:
    """Return a report with its counts and verdict reckoned from its spots.

    Parameters
    ----------
    report : FrameReport
        An unreadable one is returned as it is.
    work : WorkSettings
        The photographer's aperture, and what was done before the frame.
    past : PastPasses, optional
        What earlier states tell.
    """
    if report.state == "unreadable":
        return report
    return conclude(report, work, past)


def known_of(report: FrameReport, others: Iterable[FrameReport]) -> Stack | None:
    """Return the stack distance of a body where a frame of it had to assume one.

    Parameters
    ----------
    report : FrameReport
        As judged by itself.
    others : iterable of FrameReport
        Of the same body.

    Returns
    -------
    Stack or None
        None for a frame that needs no help, or that nothing is known for.
    """
    if report.stack.source != "assumed" or report.exposure.f_number is None:
        return None
    known = mean_stack(other.stack for other in others)
    return known and replace(known, source="given", is_from_record=True)


def look_again(
    report: FrameReport, known: Stack, settings: Settings, *, content: bytes | None = None
) -> Look | None:
    """Judge a picture anew by a stack distance that is known of its body.

    Parameters
    ----------
    report : FrameReport
        As it was judged without; remarks that are not in the new report are carried over.
    known : Stack
    content : bytes, optional
        The picture itself when it does not come from a file.

    Returns
    -------
    Look or None
        None when the picture cannot be read any more.
    """
    look = look_at(Path(report.file), settings, content=content, known_stack=known)
    if look.report.state == "unreadable":
        return None
    said = {*look.report.notes, stack_remark(report.stack)}
    others = (note for note in report.notes if note not in said)
    return replace(look, report=replace(look.report, notes=(*look.report.notes, *others)))
