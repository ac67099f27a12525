"""What earlier frames of the same body tell: passes made, and what each mark lived through.

A comparison of states and the body's record both fill these in; a single frame has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    from motemap.changes import Timing
    from motemap.records import Method

WET: Final[Method] = "wet swab"


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
    """What one cleaning pass did, or several with no shot between them, from the states before and after.

    Parameters
    ----------
    method : str
        The method used, the last one where there were several. Where nobody said what was done
        there was no pass.
    earlier : tuple of str
        Methods of the passes before it since the shot before, in order.
    n_gone, n_weaker, n_moved, n_stayed, n_new, n_undecided : int
        Marks on the sensor by their fate in the pass.
    has_streaks : bool
        Whether long faint bands along a swab's path came with it.
    timing : str
        How the shots before and after it lie in time.
    """

    method: Method
    n_gone: int = 0
    n_weaker: int = 0
    n_moved: int = 0
    n_stayed: int = 0
    n_new: int = 0
    n_undecided: int = 0
    has_streaks: bool = False
    timing: Timing = "one sitting"
    earlier: tuple[Method, ...] = ()

    @classmethod
    def from_counts(
        cls,
        counts: Mapping[str, int],
        *,
        method: Method,
        has_streaks: bool = False,
        timing: Timing = "one sitting",
        earlier: tuple[Method, ...] = (),
    ) -> PassOutcome:
        """Build the outcome from the number of marks by fate.

        >>> PassOutcome.from_counts({"gone": 3, "new": 5, "undecided": 1}, method="brush").is_worse
        True
        """
        fates = ("gone", "weaker", "moved", "stayed", "new", "undecided")
        tally = {f"n_{fate}": counts.get(fate, 0) for fate in fates}
        return cls(method=method, has_streaks=has_streaks, timing=timing, earlier=earlier, **tally)

    @property
    def is_worse(self) -> bool:
        """Whether more came than went, in a time too short for dust to settle by itself."""
        return self.timing == "one sitting" and self.n_new > self.n_gone

    @property
    def is_idle(self) -> bool:
        """Whether all that can be told stayed as it was, which is most of what there was."""
        n_changed = self.n_gone + self.n_weaker + self.n_moved + self.n_new
        return n_changed == 0 and self.n_stayed > self.n_undecided


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
    is_in_order : bool
        Whether no shot was taken before the one that the user says it follows.
    is_timed : bool
        Whether the files say when all of them were taken.
    is_one_body : bool
        Whether nothing speaks for their being of several bodies.
    """

    passes: tuple[PassOutcome, ...] = ()
    marks: tuple[MarkPast | None, ...] = ()
    is_in_order: bool = True
    is_timed: bool = True
    is_one_body: bool = True

    @property
    def last(self) -> PassOutcome | None:
        """The latest pass, if there was one."""
        return self.passes[-1] if self.passes else None

    @property
    def is_stalled(self) -> bool:
        """Whether the last two passes were wet and changed nothing."""
        latest = self._last_two_wet()
        return bool(latest) and all(each.is_idle for each in latest)

    @property
    def is_worsening(self) -> bool:
        """Whether the last two passes were wet, and more came than went with each."""
        latest = self._last_two_wet()
        return bool(latest) and all(each.is_worse for each in latest)

    def _last_two_wet(self) -> tuple[PassOutcome, ...]:
        """Return what the last two passes did where both were wet: beyond a dry one lies another rung.

        That is one outcome where no shot was taken between them.
        """
        for n_shots in (1, 2):
            latest = self.passes[-n_shots:]
            methods = [method for each in latest for method in (*each.earlier, each.method)]
            if methods[-2:] == [WET, WET]:
                return latest
        return ()
