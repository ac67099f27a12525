"""The sequence as a person tells it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from motemap.showing import is_on_sensor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport, Spot

MOST_PLACES = 2


def tell_story(states: Sequence[FrameReport], last_showing: Sequence[Spot], aperture: str) -> str:
    """Say how many marks there were, state by state, and how many of the last show where.

    Parameters
    ----------
    states : sequence of FrameReport
        In order of cleaning.
    last_showing : sequence of Spot
        Spots of the last state that show, those from the lens among them.
    aperture : str
        At which, as people write it.

    Returns
    -------
    str
        Such as "41 marks, then 12, then 3, of which 1 would show at f/11 near the lower edge."
    """
    first, *rest = (_number(state) for state in states)
    start = _counted(first)
    # What the numbers count is said once, where the first of them stands.
    is_said = first not in NO_NUMBERS
    parts = [start]
    for number in rest:
        parts.append(f"then {number.removesuffix(' mark') if is_said else _counted(number)}")
        is_said |= number not in NO_NUMBERS
    told = ", ".join(parts)
    if not states[-1].spots or states[-1].state != "judged":
        return f"{told}."
    on_sensor = [spot for spot in last_showing if is_on_sensor(spot)]
    n_lens = len(last_showing) - len(on_sensor)
    if len(states[-1].spots) == 1:
        would = "would" if last_showing else "would not"
        on_lens = ", on the lens" if n_lens else ""
        return f"{told}, which {would} show at {aperture}{_where(on_sensor)}{on_lens}."
    which = f"of which {len(on_sensor)}" if on_sensor else "none of which"
    if len(on_sensor) == len(states[-1].spots):
        which = "all of which"
    on_lens = f", and {n_lens} more on the lens" if n_lens else ""
    if n_lens and not on_sensor:
        which, on_lens = "of which none on the sensor", f", but {n_lens} on the lens"
    return f"{told}, {which} would show at {aperture}{_where(on_sensor)}{on_lens}."


UNFIT = "a frame not fit to judge"
UNREAD = "a frame that could not be read"
NO_NUMBERS = (UNFIT, UNREAD)


def _counted(number: str) -> str:
    return number if number in {"1 mark", *NO_NUMBERS} else f"{number} marks"


def _number(state: FrameReport) -> str:
    if state.state != "judged":
        return UNREAD if state.state == "unreadable" else UNFIT
    return "1 mark" if len(state.spots) == 1 else str(len(state.spots))


def _where(spots: Sequence[Spot]) -> str:
    places = Counter(spot.place for spot in spots if spot.place)
    named = [place for place, _ in places.most_common(MOST_PLACES)]
    if not named or len(places) > MOST_PLACES:
        return ""
    return f" near the {' and the '.join(named)}"
