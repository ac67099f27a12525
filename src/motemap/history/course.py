"""What the states of one body come to: its stack distance, and how fast dust comes back."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from motemap.bodies import Comeback
from motemap.changes import SAME_SITTING_DAYS, days_between
from motemap.records import Stack

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from motemap.bodies import CourseStep


def mean_stack(stacks: Iterable[Stack]) -> Stack | None:
    """Average the stack distances that frames of one body measured, the surer ones counting more.

    Returns
    -------
    Stack or None
        None when no frame could measure it.
    """
    measured = [
        (stack.distance_mm, stack.uncertainty_mm) for stack in stacks if stack.source == "measured"
    ]
    known = [(value, error) for value, error in measured if value and error]
    if not known:
        return None
    weights = [error**-2 for _, error in known]
    total = math.fsum(weights)
    mean = math.fsum(w * value for w, (value, _) in zip(weights, known, strict=True)) / total
    spread = math.fsum(
        w * (value - mean) ** 2 for w, (value, _) in zip(weights, known, strict=True)
    )
    # The frames' scatter beside what each claims: claims alone shrink without end.
    error = math.sqrt(max(1.0 / total, spread / total / len(known)))
    return Stack(distance_mm=mean, uncertainty_mm=error, source="measured")


def comeback(steps: Sequence[CourseStep], showing: Sequence[Collection[int]]) -> Comeback:
    """Reckon how fast marks that show come back while nobody cleans.

    Parameters
    ----------
    steps : sequence of CourseStep
        Oldest first.
    showing : sequence of collection of int
        For each step the ids of the spots that show at the photographer's aperture.

    Returns
    -------
    Comeback
        With no newcomer so far, the time watched is a lower bound for the mean wait.
    """
    n_new, n_days = 0, 0.0
    for index, (before, step) in enumerate(pairwise(steps), start=1):
        days = days_between(before.state.moment, step.state.moment)
        if step.state.is_cleaned or step.change is None or days is None:
            continue
        if days < SAME_SITTING_DAYS:  # says nothing of a rate
            continue
        n_days += days
        n_new += sum(
            mark.fate == "new" and mark.after_id in showing[index] for mark in step.change.marks
        )
    if not n_days:
        return Comeback()
    wait = n_days / max(n_new, 1)
    return Comeback(n_new=n_new, n_days=n_days, days_to_next=wait, is_at_least=n_new == 0)
