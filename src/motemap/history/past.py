"""What earlier states tell of the marks of a new one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.bodies import MarkHistory
from motemap.matching import mark_table, pair_marks, refusal, register

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.bodies import KeptState
    from motemap.records import FrameReport, Method

MOST_STATES_BACK = 12
"""States looked at; what is older than a dozen test shots tells nothing new."""


def past_marks(
    now: FrameReport,
    done: tuple[Method, ...],
    earlier: Sequence[KeptState],
    at_first: tuple[Method, ...] = (),
) -> tuple[MarkHistory | None, ...]:
    """Find the marks of a state in earlier ones, and what they have outlived.

    Each earlier state is laid over the present one directly, so that one frame that was too
    coarse to show a mark does not break its past.

    Parameters
    ----------
    now : FrameReport
        The present state.
    done : tuple of str
        Methods used between the last earlier state and now.
    earlier : sequence of KeptState
        Oldest first.
    at_first : tuple of str, optional
        Methods that all marks of the oldest earlier state have outlived.

    Returns
    -------
    tuple of (MarkHistory or None)
        One entry a spot; None for marks that no earlier state shows.
    """
    looked_at = list(earlier)[-MOST_STATES_BACK:]
    seen_in: list[list[int]] = [[] for _ in now.spots]
    table = mark_table(now)
    for index, state in enumerate(looked_at):
        if refusal(state.report, now) is not None:
            continue
        before = mark_table(state.report)
        pairs = pair_marks(before, table, register(before, table))
        for row in pairs.cols.tolist():
            seen_in[row].append(index)
    is_whole = len(looked_at) == len(earlier)
    first = at_first if is_whole else ()
    steps = [first, *(state.done for state in looked_at[1:]), done]
    return tuple(_history(found, steps) for found in seen_in)


def _history(seen_in: list[int], steps: list[tuple[Method, ...]]) -> MarkHistory | None:
    """Tell the past of a mark from the states that show it and what was done before each and now.

    It has outlived what was done after it was first seen; of a mark of the oldest state nothing
    tells that it came only after what was done before that.
    """
    if not seen_in:
        return None
    since = steps[seen_in[0] + 1 :] if seen_in[0] else steps
    outlived = tuple(method for step in since for method in step)
    return MarkHistory(times_seen=len(seen_in) + 1, outlived=outlived)


def new_methods(given: tuple[Method, ...], before: tuple[Method, ...]) -> tuple[Method, ...]:
    """Return what was done since the state before, from what the user says was done.

    People give either only the last step or everything so far. A list that begins with all
    that was said the time before, and goes on, means everything so far.

    >>> new_methods(("blower", "wet swab"), ("blower",))
    ('wet swab',)
    >>> new_methods(("wet swab",), ("blower",))
    ('wet swab',)
    >>> new_methods(("blower",), ("blower",))
    ('blower',)
    """
    is_longer = len(given) > len(before) > 0
    return given[len(before) :] if is_longer and given[: len(before)] == before else given
