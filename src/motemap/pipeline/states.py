"""States in order of cleaning -> what went, what stayed, and what to do next."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import partial
from itertools import pairwise, takewhile
from pathlib import Path
from typing import TYPE_CHECKING

from motemap.bodies import KeptState
from motemap.changes import Comparison, StateChange
from motemap.compare import (
    compare_states,
    has_streaks,
    is_same_picture,
    may_be_two_bodies,
    tell_story,
)
from motemap.errors import SettingsError
from motemap.facts.methods import known_methods
from motemap.history import past_marks
from motemap.matching import refusal
from motemap.pipeline.again import judge_again, known_of
from motemap.pipeline.bursts import judge_burst
from motemap.pipeline.walk import find_frames
from motemap.records import Verdict
from motemap.showing import aperture_words, can_forecast, is_on_sensor, shows
from motemap.verdict import WET, MarkPast, PassOutcome, PastPasses

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from motemap.bodies import MarkHistory
    from motemap.records import FrameReport, Method
    from motemap.settings import Settings

LEAST_STATES = 2
"""One state is nothing to compare."""


def load_states(
    names: Sequence[str],
    settings: Settings,
    *,
    jobs: int | None = None,
    on_done: Callable[[Path], None] | None = None,
) -> tuple[FrameReport, ...]:
    """Judge each state: a picture, or a folder whose pictures are one burst.

    A state that has to assume the stack distance is judged by what the others measured.

    Parameters
    ----------
    names : sequence of str
        In order of cleaning.

    Raises
    ------
    SettingsError
        If a name leads nowhere, or to a folder without a picture.
    """
    # What was done lies between the states: the first was judged before any of it.
    settings = replace(settings, work=replace(settings.work, done=()))
    found = [find_frames([name]) for name in names]
    judges = [
        partial(judge_burst, each.paths, settings, label=str(Path(name)), jobs=jobs)
        for name, each in zip(names, found, strict=True)
    ]
    states = [
        judge(on_done=on_done) if each.paths else each.troubles[0]
        for judge, each in zip(judges, found, strict=True)
    ]
    # A clean state shows too little to measure the distance by; a dirty one of the body does.
    known = [known_of(state, states) for state in states]
    return tuple(
        state if stack is None else judge(known_stack=stack)
        for judge, state, stack in zip(judges, states, known, strict=True)
    )


def compare_all(states: Sequence[FrameReport], settings: Settings) -> Comparison:
    """Compare each state with the one before it, and say what to do next.

    Parameters
    ----------
    states : sequence of FrameReport
        At least two, in order of cleaning. Those that are not fit to judge are passed over.
    settings : Settings
        ``work.done`` names the methods used between the states.

    Returns
    -------
    Comparison

    Raises
    ------
    SettingsError
        If there are fewer than two states, the methods do not fit their number, or two
        states cannot be compared.
    """
    if len(states) < LEAST_STATES:
        raise SettingsError(
            "One state is nothing to compare.",
            repair="Give two or more frames or folders, in order of cleaning.",
        )
    _refuse_unlike(states)
    done = _done_before(states, _methods_by_step(settings, len(states)))
    kept, changes = _changes(states, done)
    last = states[-1]
    if last.state != "judged" or not kept:
        verdict = last.verdict or Verdict(level="reshoot", reasons=_unread(last))
        named = f"The last state, {last.file}, {_unfit_words(last)}."
        verdict = replace(verdict, reasons=(named, *verdict.reasons))
    else:
        last = _judged(kept, changes, settings)
        verdict = last.verdict or Verdict(level="reshoot")
    showing = [spot for spot in last.spots if shows(spot, settings.work)]
    return Comparison(
        states=(*states[:-1], last),
        changes=tuple(changes),
        done=tuple(done),
        verdict=verdict,
        story=tell_story(
            states, showing, aperture_words(settings.work, has_forecast=can_forecast(last))
        ),
        notes=_passed_over(states[:-1]),
    )


def _refuse_unlike(states: Sequence[FrameReport]) -> None:
    judged = [state for state in states if state.state == "judged"]
    for before, after in pairwise(judged):
        wrong = refusal(before, after)
        if wrong is not None:
            raise SettingsError(wrong[0], repair=wrong[1], path=f"{before.file} and {after.file}")


def _methods_by_step(settings: Settings, n_states: int) -> list[tuple[Method, ...]]:
    """Say which methods were used before each state; none before the first."""
    done = known_methods(settings.work.done)
    if n_states == LEAST_STATES:
        return [(), done]
    if not done:
        return [()] * n_states
    if len(done) != n_states - 1:
        raise SettingsError(
            f"{len(done)} methods do not fit {n_states} states.",
            repair=f"Give one for each step with --done: {n_states - 1} in all.",
        )
    return [(), *((method,) for method in done)]


def _done_before(
    states: Sequence[FrameReport], steps: Sequence[tuple[Method, ...]]
) -> list[tuple[Method, ...]]:
    """Say what was done before each state; what was done before one passed over still counts.

    So does what was done before a picture that was given for the state before, too: there it would
    seem to have changed nothing.
    """
    done: list[tuple[Method, ...]] = []
    waiting: tuple[Method, ...] = ()
    before: FrameReport | None = None
    for state, step in zip(states, steps, strict=True):
        waiting += step
        if state.state != "judged":
            done.append(waiting)
            continue
        if before is not None and is_same_picture(before, state):
            done.append(())
            continue
        done.append(waiting)
        waiting, before = (), state
    return done


def _changes(
    states: Sequence[FrameReport], done: Sequence[tuple[Method, ...]]
) -> tuple[list[KeptState], list[StateChange]]:
    """Compare the states that can be judged, each with the one before it."""
    kept = [
        KeptState(report=state, digest="", recorded_at="", done=methods)
        for state, methods in zip(states, done, strict=True)
        if state.state == "judged"
    ]
    changes = [
        compare_states(before.report, after.report, done=after.done)
        for before, after in pairwise(kept)
    ]
    return kept, changes


def _judged(
    kept: Sequence[KeptState], changes: Sequence[StateChange], settings: Settings
) -> FrameReport:
    """Judge the last state in the light of those before it."""
    now, earlier = kept[-1], kept[:-1]
    if not earlier:
        # No other state could be judged: what the user said was done counts for all marks.
        return judge_again(now.report, replace(settings.work, done=now.done))
    marks = past_marks(now.report, now.done, earlier, at_first=earlier[0].done)
    n_passes = len(last_passes(kept))
    latest = list(zip(changes, kept[1:], strict=True))[len(changes) - n_passes :]
    past = replace(
        past_passes(latest, marks),
        is_in_order=all(change.timing != "backwards" for change in changes),
        is_timed=all(change.days is not None for change in changes),
        is_one_body=not any(
            may_be_two_bodies(before.report, after.report, change.registration)
            for (before, after), change in zip(pairwise(kept), changes, strict=True)
        ),
    )
    return judge_again(now.report, replace(settings.work, done=()), past)


def past_passes(
    changes: Iterable[tuple[StateChange, KeptState]], marks: Sequence[MarkHistory | None]
) -> PastPasses:
    """Put what is known of earlier states into the form that the verdict takes.

    Parameters
    ----------
    changes : iterable of (StateChange, KeptState)
        What each of `last_passes` changed, with the state after it.
    marks : sequence of (MarkHistory or None)
        One entry a spot of the present state; None for those that no earlier state shows.
    """
    pasts = [
        MarkPast(times_seen=mark.times_seen, outlived=mark.outlived) if mark else MarkPast()
        for mark in marks
    ]
    passes = tuple(_outcome(change, after) for change, after in changes)
    return PastPasses(passes=passes, marks=tuple(pasts))


def last_passes(states: Sequence[KeptState]) -> list[tuple[KeptState, KeptState]]:
    """Return the states before and after each pass of cleaning that led to the last state.

    Without a cleaning before it none did: what came since the last pass is not its doing.
    """
    pairs = list(pairwise(states))
    n_passes = sum(1 for _ in takewhile(lambda pair: pair[1].is_cleaned, reversed(pairs)))
    return pairs[len(pairs) - n_passes :]


def _outcome(change: StateChange, after: KeptState) -> PassOutcome:
    """Say what was done to the marks on the sensor; what lies on the lens it could not reach."""
    on_lens = {spot.id for spot in after.report.spots if not is_on_sensor(spot)}
    return PassOutcome.from_counts(
        Counter(mark.fate for mark in change.marks if mark.after_id not in on_lens),
        method=after.done[-1],
        earlier=after.done[:-1],
        has_streaks=WET in after.done and has_streaks(change, after.report),
        timing=change.timing,
    )


def _unread(state: FrameReport) -> tuple[str, ...]:
    return (state.error.cause, state.error.repair) if state.error else ()


def _unfit_words(state: FrameReport) -> str:
    return "could not be read" if state.state == "unreadable" else "is not fit to judge"


def _passed_over(states: Sequence[FrameReport]) -> tuple[str, ...]:
    return tuple(
        f"{state.file} {_unfit_words(state)} and was passed over."
        for state in states
        if state.state != "judged"
    )
