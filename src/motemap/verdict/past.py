"""What earlier frames of the same body tell: passes made, and what each mark lived through.

A comparison of states and the body's record both fill these in; a single frame has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from motemap.records import Method


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkPast:
    """The past of one mark.

    Parameters
    ----------
    times_seen : int
        Frames or states in which it was seen, this one included; 1 = new.
    outlived : tuple of str
        Cleaning methods it has outlived, in order, repeats kept.
    """

    times_seen: int = 1
    outlived: tuple[Method, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PassOutcome:
    """What one cleaning pass did, from the states before and after it.

    Parameters
    ----------
    method : str or None
        The method used; None when nobody said.
    n_gone, n_weaker, n_moved, n_stayed, n_new : int
        Marks by their fate in the pass.
    has_streaks : bool
        Whether long faint bands along the swab's path came with it.
    """

    method: Method | None = None
    n_gone: int = 0
    n_weaker: int = 0
    n_moved: int = 0
    n_stayed: int = 0
    n_new: int = 0
    has_streaks: bool = False

    @classmethod
    def from_counts(
        cls, counts: Mapping[str, int], *, method: Method | None = None, has_streaks: bool = False
    ) -> PassOutcome:
        """Build the outcome from the number of marks by fate; fates it knows nothing of are left.

        >>> PassOutcome.from_counts({"gone": 3, "new": 5, "undecided": 1}).is_worse
        True
        """
        fates = ("gone", "weaker", "moved", "stayed", "new")
        tally = {f"n_{fate}": counts.get(fate, 0) for fate in fates}
        return cls(method=method, has_streaks=has_streaks, **tally)

    @property
    def is_worse(self) -> bool:
        """Whether more came than went."""
        return self.n_new > self.n_gone

    @property
    def is_idle(self) -> bool:
        """Whether nothing that was there went, faded or moved."""
        return self.n_stayed > 0 and self.n_gone + self.n_weaker + self.n_moved == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PastPasses:
    """The past of a body since the marks in question first appeared.

    Parameters
    ----------
    passes : tuple of PassOutcome
        Passes made, oldest first.
    marks : tuple of (MarkPast or None)
        One entry a spot, in the order of the spots; None where nothing is known of it, so
        that what the user said was done counts. Empty when nothing is known of any.
    """

    passes: tuple[PassOutcome, ...] = ()
    marks: tuple[MarkPast | None, ...] = ()

    @property
    def last(self) -> PassOutcome | None:
        """The latest pass, if there was one."""
        return self.passes[-1] if self.passes else None

    @property
    def is_stalled(self) -> bool:
        """Whether the last two passes changed nothing, neither of them known to be dry."""
        latest = self.passes[-2:]
        return len(latest) > 1 and all(
            each.is_idle and each.method in {None, "wet swab"} for each in latest
        )
