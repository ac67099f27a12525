"""The steps of a comparison: two states each, and what became of every mark between them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from motemap.errors import OutputError
from motemap.report.pictures.words import count_words
from motemap.showing import aperture_words, is_forecast, is_on_sensor, shows, shows_on_sensor

if TYPE_CHECKING:
    from motemap.changes import Comparison, Fate, Registration, StateChange
    from motemap.records import FrameReport, Spot
    from motemap.settings import WorkSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a comparison: the two states and what changed between them.

    Parameters
    ----------
    number, n_steps : int
        Which step it is, counted from 1, and how many there are.
    """

    before: FrameReport
    after: FrameReport
    change: StateChange
    number: int = 1
    n_steps: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Fated:
    """A mark of a step with what became of it.

    Parameters
    ----------
    spot : Spot
        As it is in the later state, or was in the earlier one if it is not there any more.
    is_there : bool
        Whether the later state has it.
    before_id : int or None
        Its number in the earlier state.
    """

    fate: Fate
    spot: Spot
    is_there: bool
    before_id: int | None

    @property
    def is_on_lens(self) -> bool:
        """Whether it is a shadow from the lens side, so that no cleaning concerns it."""
        return not is_on_sensor(self.spot)


def steps_of(comparison: Comparison) -> tuple[Step, ...]:
    """Return the steps of a comparison in order; states not fit to judge are passed over."""
    judged = [state for state in comparison.states if state.state == "judged"]
    paired = list(zip(pairwise(judged), comparison.changes, strict=False))
    return tuple(
        Step(before=before, after=after, change=change, number=number, n_steps=len(paired))
        for number, ((before, after), change) in enumerate(paired, start=1)
    )


def step_at(comparison: Comparison, place: int) -> Step:
    """Return one step, counted from 0, or from the end when negative.

    Raises
    ------
    OutputError
        If there is no such step: fewer than two states are fit to judge.
    """
    steps = steps_of(comparison)
    if not -len(steps) <= place < len(steps):
        raise OutputError(
            "There are not two states to draw beside each other.",
            repair="Give two or more states that are fit to judge.",
        )
    return steps[place]


def fated_marks(step: Step) -> tuple[Fated, ...]:
    """Return every mark of both states once: those that are gone, then those that are there."""
    before = {spot.id: spot for spot in step.before.spots}
    fates = {mark.after_id: mark for mark in step.change.marks if mark.after_id}
    absent = (
        Fated(fate=mark.fate, spot=before[mark.before_id], is_there=False, before_id=mark.before_id)
        for mark in step.change.marks
        if mark.after_id is None and mark.before_id in before
    )
    there = (
        Fated(
            fate=fates[spot.id].fate if spot.id in fates else "undecided",
            spot=spot,
            is_there=True,
            before_id=fates[spot.id].before_id if spot.id in fates else None,
        )
        for spot in step.after.spots
    )
    return (*absent, *there)


def step_words(step: Step, work: WorkSettings) -> str:
    """Return what a step did, as a person tells it."""
    return f"{count_words(len(step.before.spots))}, then {_left_words(step.after.spots, work)}"


def _left_words(left: tuple[Spot, ...], work: WorkSettings) -> str:
    if not left:
        return "none"
    n_showing = sum(shows_on_sensor(spot, work) for spot in left)
    n_lens = sum(shows(spot, work) for spot in left) - n_showing
    at = aperture_words(work, has_forecast=is_forecast(left))
    if len(left) == 1:
        would = "would show" if n_showing or n_lens else "would not show"
        return f"1, which {would} at {at}{', on the lens' if n_lens else ''}"
    which = f"of which {n_showing}" if n_showing else "none of which"
    if n_showing == len(left):
        which = "all of which"
    on_lens = f", and {n_lens} more on the lens" if n_lens else ""
    if n_lens and not n_showing:
        which, on_lens = "of which none on the sensor", f", but {n_lens} on the lens"
    return f"{len(left)}, {which} would show at {at}{on_lens}"


def laid_words(found: Registration) -> str:
    """Return what is to be known of how two states were laid over each other; mostly nothing."""
    if found.reason is None:
        return ""
    if found.is_known:
        return f"How the two lie over each other {found.reason}"
    return f"Not laid over each other: {found.reason}"
