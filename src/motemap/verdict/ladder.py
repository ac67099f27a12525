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
from motemap.verdict.past import WET
from motemap.verdict.why import Group, about_last, beyond_reach, why
from motemap.verdict.wording import sentences

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from motemap.records import Method
    from motemap.verdict.marks import Mark, Marks
    from motemap.verdict.past import PassOutcome, PastPasses
    from motemap.verdict.why import Ground

MAX_WET_PASSES: Final = 2
"""What outlives so many wet passes is stuck, a scratch or beneath the glass."""

MAX_WET_PASSES_AFTER_FAULT: Final = 3
"""One pass more when the last one itself left dirt or streaks; then stop all the same."""


STALLED: Final = (
    "Two wet passes in a row changed nothing: what is left is stuck, a scratch or beneath the "
    "glass. Stop here and leave it to a service."
)
WORSENING: Final = (
    "With two wet passes in a row more dirt came than went: wiping on brings in more than it "
    "takes away. Stop here; retouch, or leave it to a service."
)
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
    stop = _stop_rule(past)
    if stop is not None:
        return Step(method="service", reasons=(stop,))
    last = past.last if past else None
    limit = _wet_limit(last)
    histories = Counter(_History(mark.tried_on(done), mark.is_wet) for mark in marks.cleanable)
    needs = {history: _needed(history, limit) for history in histories}
    method = _roughest_at_home(needs.values())
    drivers = {each: number for each, number in histories.items() if needs[each] == method}
    stuck = {each: number for each, number in histories.items() if needs[each] == "service"}
    reasons = sentences(
        *about_last(last, method),
        *why(_groups(method, drivers.items(), marks.n_showing)),
        *(beyond_reach(_groups("service", stuck.items())) if method != "service" else ()),
        CORNERS if _is_only_corners(marks.cleanable, done) else None,
    )
    return Step(method=method, reasons=reasons)


def _stop_rule(past: PastPasses | None) -> str | None:
    """Say by which rule no pass at home is to follow; None where one may."""
    if past is None:
        return None
    if past.is_stalled:
        return STALLED
    return WORSENING if past.is_worsening else None


def _wet_limit(last: PassOutcome | None) -> int:
    """Return after how many wet passes a mark is left to a service."""
    is_dirty = last is not None and last.method == WET and last.is_worse
    is_faulty = is_dirty or (last is not None and last.has_streaks)
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


def _groups(
    method: Method, histories: Iterable[tuple[_History, int]], n_showing: int | None = None
) -> dict[Ground, Group]:
    """Put marks that need a method together by why they need it.

    Parameters
    ----------
    histories : iterable of (_History, int)
        With how many marks have each.
    n_showing : int, optional
        Marks that show, whatever they need.
    """
    found: dict[Ground, Group] = {}
    for history, number in histories:
        ground = _ground(method, history)
        tried = frozenset(history.tried)
        known = found.get(ground)
        n_marks = number + (known.n_marks if known else 0)
        found[ground] = Group(
            n_marks=n_marks,
            is_all=n_marks == n_showing,
            outlived=known.outlived & tried if known else tried,
        )
    return found


def _ground(method: Method, history: _History) -> Ground:
    """Say why marks of one history need the method that they need."""
    if method == "service":
        return "after service" if "service" in history.tried else "stuck"
    if method != WET:
        return "clings" if method == "brush" else "untried"
    if WET in history.tried:
        return "wet again"
    return "wet kind" if history.is_wet else "sticks"


def _is_only_corners(cleanable: tuple[Mark, ...], done: tuple[Method, ...]) -> bool:
    """Whether a wet pass has left nothing but marks in the corners."""
    return all(mark.is_in_corner and WET in mark.tried_on(done) for mark in cleanable)
