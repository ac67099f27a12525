"""The sequence as a person tells it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

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
        Spots of the last state that show.
    aperture : str
        At which, as people write it.

    Returns
    -------
    str
        Such as "41 marks, then 12, then 3, of which 1 shows at f/11 near the lower edge."
    """
    first, *rest = (_number(state) for state in states)
    start = _counted(first)
    # What the numbers count is said once, where the first of them stands.
    is_said = first != UNFIT
    parts = [start]
    for number in rest:
        parts.append(f"then {number.removesuffix(' mark') if is_said else _counted(number)}")
        is_said |= number != UNFIT
    told = ", ".join(parts)
    if not states[-1].spots or states[-1].state != "judged":
        return f"{told}."
    n_showing = len(last_showing)
    if not n_showing:
        which = "which does not show" if len(states[-1].spots) == 1 else "none of which shows"
        return f"{told}, {which} at {aperture}."
    if n_showing == len(states[-1].spots) == 1:
        return f"{told}, which shows at {aperture}{_where(last_showing)}."
    verb = "shows" if n_showing == 1 else "show"
    return f"{told}, of which {n_showing} {verb} at {aperture}{_where(last_showing)}."


UNFIT = "a frame not fit to judge"


def _counted(number: str) -> str:
    return number if number in {"1 mark", UNFIT} else f"{number} marks"


def _number(state: FrameReport) -> str:
    if state.state != "judged":
        return UNFIT
    return "1 mark" if len(state.spots) == 1 else str(len(state.spots))


def _where(spots: Sequence[Spot]) -> str:
    places = Counter(spot.place for spot in spots if spot.place)
    named = [place for place, _ in places.most_common(MOST_PLACES)]
    if not named or len(places) > MOST_PLACES:
        return ""
    return f" near the {' and the '.join(named)}"
