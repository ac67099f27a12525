"""The verdict on one frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.facts.cautions import cautions_for
from motemap.facts.methods import known_methods
from motemap.records import Counts, PlacedReason, Verdict
from motemap.verdict.ladder import next_step
from motemap.verdict.marks import sort_marks
from motemap.verdict.reasons import (
    about_worst,
    past_of,
    reasons_for_cleaning,
    reasons_for_ready,
    reasons_for_reshoot,
    worst_of,
)
from motemap.verdict.swab import swab_line
from motemap.verdict.wording import sentences

if TYPE_CHECKING:
    from motemap.records import Method, Sensor, ShotCheck, Spot
    from motemap.settings import WorkSettings
    from motemap.verdict.past import PastPasses

OUT_OF_ORDER: Final = (
    "By their times the shots were not taken in the order given: unless the camera's clock was "
    "wrong, this verdict does not hold. Give them in order of cleaning."
)
UNTIMED: Final = (
    "Not all files say when they were shot: should they be given in the wrong order, what is told as "
    "new is what went."
)
OTHER_BODY: Final = (
    "Two shots have not one mark in common, and no serial number says that they are of one body: "
    "should they be of two, this verdict does not hold."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotFacts:
    """What is to be known of a test shot beside its marks.

    Parameters
    ----------
    sensor : Sensor
        For the width of the swab.
    failed : tuple of ShotCheck
        Checks that make the frame unfit to judge by; empty for a frame that is fit.
    has_forecast : bool
        Whether it tells what shows at the photographer's aperture, and not at its own alone.
    """

    sensor: Sensor
    failed: tuple[ShotCheck, ...] = ()
    has_forecast: bool = True


def judge(
    spots: tuple[Spot, ...],
    *,
    shows: tuple[bool, ...],
    work: WorkSettings,
    shot: ShotFacts,
    past: PastPasses | None = None,
) -> tuple[Counts, Verdict]:
    """Count what shows and say what to do about it.

    Parameters
    ----------
    spots : tuple of Spot
        All marks of the frame, in the order of the report.
    shows : tuple of bool
        One entry a spot: whether its forecast depth at the photographer's aperture is one
        that shows.
    work : WorkSettings
        The photographer's aperture, and the methods tried before this frame.
    shot : ShotFacts
    past : PastPasses or None
        What earlier frames of the body tell; overrides `work.done` for marks it knows.

    Returns
    -------
    Counts
        All marks, and all that show, wherever they lie.
    Verdict
        Marks on the lens side count for nothing in it; marks beneath the glass call for a
        service, and only when they show.

    Raises
    ------
    SettingsError
        If a method in `work.done` is unknown.
    ValueError
        If `shows` or the past of the marks is not aligned with `spots`.
    """
    done = known_methods(work.done)
    marks = sort_marks(spots, shows, past)
    counts = Counts(
        found=len(spots),
        showing=sum(shows),
        showing_on_lens=sum(mark.is_showing for mark in marks.on_lens),
    )
    if shot.failed:
        reasons = reasons_for_reshoot(shot.failed, len(spots))
        return counts, Verdict(level="reshoot", reasons=reasons)
    if not marks.n_showing:
        is_cleaned = bool(done) or (past is not None and bool(past.passes))
        reasons = reasons_for_ready(
            marks, work, has_forecast=shot.has_forecast, is_cleaned=is_cleaned
        )
        return counts, Verdict(level="ready", reasons=(*reasons, *doubts_of(past)))
    step = next_step(marks, done, past)
    worst = worst_of(marks, work)
    reasons = reasons_for_cleaning(marks, work, has_forecast=shot.has_forecast)
    verdict = Verdict(
        level="clean",
        method=step.method,
        reasons=(*reasons, *step.reasons, *doubts_of(past)),
        cautions=cautions_of(step.method, shot.sensor),
        placed=PlacedReason(
            at=reasons.index(about_worst(worst)), spot_id=worst.spot.id, past=past_of(worst)
        ),
    )
    return counts, verdict


def doubts_of(past: PastPasses | None) -> tuple[str, ...]:
    """Return what speaks against a verdict that rests on earlier states.

    That files tell no time is said only where the order given looks wrong by the marks.
    """
    if past is None:
        return ()
    is_odd = past.last is not None and past.last.is_worse
    return sentences(
        None if past.is_in_order else OUT_OF_ORDER,
        UNTIMED if is_odd and not past.is_timed else None,
        None if past.is_one_body else OTHER_BODY,
    )


def cautions_of(method: Method, sensor: Sensor) -> tuple[str, ...]:
    """Return what to beware of with a method, the swab's size for this sensor among it.

    The line that defers to the camera's manual comes last.
    """
    texts = [caution.text for caution in cautions_for(method)]
    if method not in {"none", "service"}:
        texts.insert(-1, swab_line(method, sensor))
    return tuple(texts)
