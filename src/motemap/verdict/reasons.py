"""The sentences of a verdict: how many marks, how many show, where the worst is."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from motemap.facts.stops import write_f
from motemap.showing import aperture_words, condition_words, depth_of
from motemap.verdict.wording import (
    count,
    kind_and_size,
    listed,
    ordinal,
    sentences,
    shows_from,
    where,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from motemap.records import ShotCheck, Spot, Verdict
    from motemap.settings import WorkSettings
    from motemap.verdict.marks import Mark, Marks


ROUND_LENGTH: Final = 1.15
"""Length over width of a shadow from the lens side up to which it is round (drawn frames: dust on
the lens 1.1; films in or beside it 1.1 to 1.7)."""

WHOLE: Final = {1: "the one", 2: "both"}
"""How all of a few are said."""


def reasons_for_reshoot(shot_failed: tuple[ShotCheck, ...], n_found: int) -> tuple[str, ...]:
    """Say why the frame is not fit to judge by, and what was seen all the same."""
    faults = tuple(
        check.advice or f"The check '{check.name}' failed: {check.wanted} is wanted."
        for check in shot_failed
    )
    found = count(n_found, "mark was", "marks were")
    seen = f"{found} found all the same, but others may be hidden." if n_found else None
    return sentences(*faults, seen)


def reasons_for_ready(
    marks: Marks, work: WorkSettings, *, has_forecast: bool, is_cleaned: bool
) -> tuple[str, ...]:
    """Say that nothing shows, how many marks there are, and when the first will.

    After a cleaning (`is_cleaned`) also say to leave it at that.
    """
    where = f"at {aperture_words(work, has_forecast=has_forecast)}"
    stop = "Stop here: every further pass is a risk without a gain." if is_cleaned else None
    if not marks.quiet:
        head = f"No mark was found on the sensor: nothing would show {where}."
        return sentences(head, stop, *_about_lens(marks.on_lens))
    head = f"{_found_and_quiet(len(marks.quiet), len(marks.on_lens))} {where}."
    first = min((mark.spot.shows_from_f or math.inf for mark in marks.quiet), default=math.inf)
    when = f"The first would show at {write_f(first)}." if math.isfinite(first) else None
    return sentences(head, when, stop, *_about_lens(marks.on_lens))


def reasons_for_cleaning(
    marks: Marks, work: WorkSettings, *, has_forecast: bool
) -> tuple[str, ...]:
    """Say how many marks show, which is worst and where, and what no cleaning will reach."""
    aperture = aperture_words(work, has_forecast=has_forecast)
    condition = f"at {aperture} ({condition_words(work, has_forecast=has_forecast)})"
    n_found = marks.n_showing + len(marks.quiet)
    head = f"{_found_and_showing(n_found, marks.n_showing, len(marks.on_lens))} {condition}."
    return sentences(
        head,
        about_worst(worst_of(marks, work)),
        _about_inside(len(marks.inside)),
        *_about_lens(marks.on_lens),
    )


def _found(n_on_sensor: int, n_on_lens: int) -> str:
    """Return how many marks were found; together they are the report's count."""
    found = f"{count(n_on_sensor, 'mark was', 'marks were')} found on the sensor"
    return f"{found}, and {n_on_lens} more from the lens side" if n_on_lens else found


def _found_and_quiet(n_found: int, n_on_lens: int) -> str:
    """Return that of the marks on the sensor none would show, as the beginning of a sentence."""
    found = _found(n_found, n_on_lens)
    if n_found == 1:
        return f"{found}; {'the one on the sensor' if n_on_lens else 'it'} would not show"
    return (
        f"{found}; none of the {n_found} would show"
        if n_on_lens
        else (f"{found}, none of which would show")
    )


def _found_and_showing(n_found: int, n_showing: int, n_on_lens: int) -> str:
    """Return how many of the marks on the sensor show, as the beginning of a sentence."""
    found = _found(n_found, n_on_lens)
    if not n_on_lens and n_found == n_showing:
        return f"{found}, {'and it' if n_found == 1 else 'all of which'} would show"
    if n_found == n_showing:
        return f"{found}; {WHOLE.get(n_found, f'all {n_found}')} on the sensor would show"
    return f"{found}; {n_showing} of the {n_found} would show"


def worst_of(marks: Marks, work: WorkSettings) -> Mark:
    """Return the mark on the sensor that takes most light at the photographer's aperture."""
    showing = (*marks.cleanable, *marks.inside)
    return max(showing, key=lambda mark: (depth_of(mark.spot, work.shoot_at_f), -mark.spot.id))


def about_worst(worst: Mark) -> str:
    """Return one sentence on the worst mark: what, where, from when, and its past."""
    return _placed(worst.spot, past_of(worst))


def said_again(verdict: Verdict, spots: Iterable[Spot]) -> Verdict:
    """Return a verdict whose reasons place a mark where it lies among these spots.

    Parameters
    ----------
    verdict : Verdict
    spots : iterable of Spot
        Those it was made from, as a person sees them who holds the body some other way.
    """
    placed = verdict.placed
    spot = None if placed is None else {spot.id: spot for spot in spots}.get(placed.spot_id)
    if placed is None or spot is None:
        return verdict
    reasons = list(verdict.reasons)
    reasons[placed.at] = _placed(spot, placed.past)
    return replace(verdict, reasons=tuple(reasons))


def _placed(spot: Spot, past: str) -> str:
    more = ", ".join(part for part in (shows_from(spot), past) if part)
    tail = f"; it {more}" if more else ""
    return f"The worst, {kind_and_size(spot)}, {where(spot)}{tail}."


def past_of(mark: Mark) -> str:
    """Return how often a mark was seen before and what it has outlived; empty when new."""
    if mark.past is None or mark.past.times_seen <= 1:
        return ""
    seen = f"is here for the {ordinal(mark.past.times_seen)} time"
    if not mark.past.outlived:
        return seen
    return f"{seen} and has outlived {_passes(mark.past.outlived)}"


def _passes(outlived: Iterable[str]) -> str:
    """Return methods with how often each was used, in order of first use."""
    uses = list(outlived)
    return listed(
        [
            f"a {name}" if uses.count(name) == 1 else f"{uses.count(name)} passes with a {name}"
            for name in dict.fromkeys(uses)
        ]
    )


def _about_inside(n_inside: int) -> str | None:
    """Say what lies beneath the glass, where no cleaning reaches."""
    if not n_inside:
        return None
    what = count(n_inside, "mark that shows is", "marks that show are")
    return (
        f"{what} sharper than dust on the outer glass can be: no cleaning reaches beneath it, "
        "only a service."
    )


def _about_lens(on_lens: Sequence[Mark]) -> tuple[str | None, ...]:
    """Say what lies on the lens side, so that the sensor is not blamed for it."""
    if not on_lens:
        return ()
    what = count(len(on_lens), "wide faint shadow comes", "wide faint shadows come")
    n_showing = sum(mark.is_showing for mark in on_lens)
    which = "it" if len(on_lens) == 1 else f"{n_showing} of them"
    showing = f", and {which} would show" if n_showing else ""
    said = (
        f"{what} from the lens side{showing}; the sensor is not to blame: look at the rear of the "
        "lens and clean that."
    )
    return said, _about_uneven(on_lens)


def _about_uneven(on_lens: Sequence[Mark]) -> str | None:
    """Say what shadows from the lens side may be a soft film on the sensor all the same."""
    n_uneven = sum(mark.is_showing and _is_uneven(mark.spot) for mark in on_lens)
    if not n_uneven:
        return None
    what = count(n_uneven, "such shadow that would show is", "such shadows that would show are")
    return (
        f"{what} not quite round, as a soft film on the sensor may be, too: shoot once more with "
        "another lens. What stays in its place is on the sensor."
    )


def _is_uneven(spot: Spot) -> bool:
    """Tell a shadow that is longer than the pupil of a lens, which dust on it pictures."""
    if spot.length_um is None or spot.width_um is None:
        return False
    return spot.length_um > ROUND_LENGTH * spot.width_um
