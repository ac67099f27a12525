"""Which method next: the gentlest that fits, and when to stop.

The order blower, brush, wet swab, service, with a new test shot after each, is the same in
every guide read (photo-facts.com, gizbot.com); when to skip a rung and when to stop is common
practice.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from motemap.facts.methods import methods
from motemap.verdict.wording import count, listed, sentences

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from motemap.records import Method
    from motemap.verdict.marks import Mark, Marks
    from motemap.verdict.past import PassOutcome, PastPasses

WET: Final[Method] = "wet swab"

MAX_WET_PASSES: Final = 2
"""What outlives so many wet passes is stuck, a scratch or beneath the glass."""

MAX_WET_PASSES_AFTER_FAULT: Final = 3
"""One pass more when the last one itself left dirt or streaks; then stop all the same."""


STALLED: Final = (
    "Two passes in a row changed nothing: what is left is stuck, a scratch or beneath the glass. "
    "Stop here and leave it to a service."
)
STUCK: Final = (
    "What shows has outlived all that a wet swab can do: it is stuck, a scratch or beneath the "
    "glass. Stop here and leave it to a service."
)
BACK_TO_SERVICE: Final = "It still shows after a service: take the body back."
CORNERS: Final = (
    "All that is left lies in corners, where a swab turns and drops its load: often the point to "
    "stop, and to retouch instead."
)


class _History(NamedTuple):
    """What marks that need the same method have in common."""

    tried: tuple[Method, ...]
    is_wet: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The method advised next, and why this one."""

    method: Method
    reasons: tuple[str, ...]


def next_step(marks: Marks, done: tuple[Method, ...], past: PastPasses | None) -> Step:
    """Return the gentlest method that can deal with all that shows and can be cleaned.

    Parameters
    ----------
    marks : Marks
        At least one cleanable or inside mark that shows.
    done : tuple of str
        Methods tried before this frame, in order.
    past : PastPasses or None
        What earlier frames tell.
    """
    if not marks.cleanable:
        return Step(method="service", reasons=())
    last = past.last if past else None
    if past is not None and past.is_stalled:
        return Step(method="service", reasons=(STALLED,))
    limit = _wet_limit(last)
    histories = Counter(_History(mark.tried_on(done), mark.is_wet) for mark in marks.cleanable)
    needs = {history: _needed(history, limit) for history in histories}
    method = _roughest_at_home(needs.values())
    drivers = {each: number for each, number in histories.items() if needs[each] == method}
    n_stuck = sum(number for each, number in histories.items() if needs[each] == "service")
    reasons = sentences(
        *_about_last(last),
        _why(method, drivers, is_all=len(drivers) == len(needs)),
        _beyond_reach(n_stuck) if method != "service" else None,
        CORNERS if _is_only_corners(marks.cleanable, done) else None,
    )
    return Step(method=method, reasons=reasons)


def _wet_limit(last: PassOutcome | None) -> int:
    """Return after how many wet passes a mark is left to a service."""
    is_faulty = last is not None and last.method == WET and (last.is_worse or last.has_streaks)
    return MAX_WET_PASSES_AFTER_FAULT if is_faulty else MAX_WET_PASSES


def _needed(history: _History, limit: int) -> Method:
    """Return the gentlest method left for marks of one history."""
    tried = history.tried
    n_wet = tried.count(WET)
    if "service" in tried or n_wet >= limit:
        return "service"
    if n_wet or history.is_wet or "brush" in tried:
        return WET
    return "brush" if "blower" in tried else "blower"


def _roughest_at_home(needs: Collection[Method]) -> Method:
    """Return the highest rung needed short of a service; a service when all need one."""
    for method in reversed(methods()):
        if method.name != "service" and method.name in needs:
            return method.name
    return "service"


def _why(method: Method, drivers: Mapping[_History, int], *, is_all: bool) -> str:
    """Say why this rung of the ladder and no lower one.

    `drivers` says how many marks of each history need the method, and `is_all` whether they are
    all there are.
    """
    outlived: Counter[Method] = Counter()
    for history, number in drivers.items():
        for name in history.tried:
            outlived[name] += number
    tried = listed([each.name for each in methods() if outlived[each.name]])
    n_drivers = sum(drivers.values())
    has = "What shows has" if is_all else f"{count(n_drivers, 'mark has', 'marks have')}"
    if method == "blower":
        untried = "what shows" if is_all else count(n_drivers, "mark", "marks")
        return f"Nothing has been tried on {untried} yet: the blower is the gentlest start."
    if method == "brush":
        return f"{has} outlived the {tried}: it clings, so the brush is next."
    if method == "service":
        return BACK_TO_SERVICE if outlived["service"] else STUCK
    if outlived[WET]:
        return f"{has} outlived the {tried}: one more wet pass, with a new swab."
    n_wet_kinds = sum(number for history, number in drivers.items() if history.is_wet)
    if n_wet_kinds:
        what = count(n_wet_kinds, "droplet or smear shows", "droplets or smears show")
        return f"{what}: only a wet swab lifts that, and a brush would spread it."
    return f"{has} outlived the {tried}: it sticks, so the wet swab is next."


def _beyond_reach(n_stuck: int) -> str | None:
    """Say how many marks the advised method will not shift."""
    if not n_stuck:
        return None
    stuck = count(n_stuck, "mark has", "marks have")
    return f"{stuck} outlived all a swab can do: a matter for a service if it disturbs you."


def _about_last(last: PassOutcome | None) -> tuple[str | None, str | None]:
    """Say what was wrong with the last pass."""
    if last is None:
        return None, None
    what = f"the {last.method}" if last.method else "the last pass"
    change = None
    if last.is_worse:
        fresh = "a new swab" if last.method == WET else "a clean tool"
        change = (
            f"More marks came than went with {what} ({last.n_new} new, {last.n_gone} gone): it "
            f"brought dirt in. Take {fresh}."
        )
    elif last.is_idle:
        change = f"Nothing changed with {what}."
    streaks = f"Streaks came with {what}: another pass, with less fluid."
    return change, streaks if last.has_streaks else None


def _is_only_corners(cleanable: tuple[Mark, ...], done: tuple[Method, ...]) -> bool:
    """Whether a wet pass has left nothing but marks in the corners."""
    return all(mark.is_in_corner and WET in mark.tried_on(done) for mark in cleanable)
