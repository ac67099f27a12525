"""What changed from one state of a sensor to the next: the records of a comparison.

A *state* is one frame, or a burst combined to one, at one point of the cleaning. ``None``
means unknown, never 0.
"""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, Literal

from motemap.records import FrameReport, Method, Verdict

Fate = Literal["gone", "stayed", "weaker", "moved", "new", "undecided"]

FATES: tuple[Fate, ...] = ("gone", "stayed", "weaker", "moved", "new", "undecided")
"""Every fate, in the order in which reports list them."""


Timing = Literal["one sitting", "days apart", "backwards"]
"""How the shots of two states lie in time; unknown times count as one sitting."""

SAME_SITTING_DAYS: Final = 0.5
"""Shots nearer in time than this are of one sitting: no dust settles by itself between them."""

DAY_S: Final = 86400.0
"""Seconds of a day."""


def days_between(start: str | None, end: str | None) -> float | None:
    """Return the days from one moment to another; None where one is unknown.

    Parameters
    ----------
    start, end : str or None
        ISO 8601. Where only one of them names its zone both are taken for the camera's own time.

    >>> days_between("2031-05-02T10:00:00", "2031-05-01T22:00:00")
    -0.5
    >>> days_between("2031-05-02T10:00:00+02:00", "2031-05-02T08:00:00+00:00")
    0.0
    """
    try:
        one, two = (datetime.fromisoformat(text or "") for text in (start, end))
    except ValueError:
        return None
    if (one.tzinfo is None) != (two.tzinfo is None):
        one, two = one.replace(tzinfo=None), two.replace(tzinfo=None)
    return (two - one).total_seconds() / DAY_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """How the marks of one state lie over those of another.

    ``after = scale * before + shift``, both measured from the middle of their own picture;
    for pictures of one size that is a scale about the optical centre plus a shift.

    Parameters
    ----------
    scale : float or None
        None when there is nothing to register by; the same for the shifts.
    shift_x_px, shift_y_px : float or None
        To the right and downward in the stored picture [px].
    residual_px : float or None
        Root mean square distance left between the marks used [px].
    n_used : int
        Marks that the fit rests on.
    reason : str or None
        Why the registration is unknown, or rests on little.
    """

    scale: float | None = None
    shift_x_px: float | None = None
    shift_y_px: float | None = None
    residual_px: float | None = None
    n_used: int = 0
    reason: str | None = None

    @property
    def is_known(self) -> bool:
        """Whether marks of the two states can be laid over one another."""
        return self.scale is not None


IDENTITY = Registration(scale=1.0, shift_x_px=0.0, shift_y_px=0.0)
"""Nothing moved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkFate:
    """What became of one mark; ids are those of the two states, None where it is absent."""

    fate: Fate
    before_id: int | None
    after_id: int | None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StateChange:
    """What changed between two states that follow each other.

    Parameters
    ----------
    before, after : str
        ``file`` of the two states' reports.
    marks : tuple of MarkFate
        In the order of the first state's spots, then what is only in the second.
    done : tuple of str
        Methods used between the two, as far as they are known.
    days : float or None
        Time from the first shot to the second; below 0 where the second was taken first.
    """

    before: str
    after: str
    registration: Registration
    marks: tuple[MarkFate, ...] = ()
    done: tuple[Method, ...] = ()
    notes: tuple[str, ...] = ()
    days: float | None = None

    @property
    def timing(self) -> Timing:
        """How the two shots lie in time."""
        if self.days is not None and self.days < 0:
            return "backwards"
        return "days apart" if (self.days or 0.0) >= SAME_SITTING_DAYS else "one sitting"

    @property
    def counts(self) -> dict[Fate, int]:
        """How many marks met each fate; every fate has a key."""
        tally = Counter(mark.fate for mark in self.marks)
        return {fate: tally[fate] for fate in FATES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """States in order of cleaning, what changed between them, and what to do next.

    Parameters
    ----------
    done : tuple of (tuple of str)
        For each state the methods used since the one before it that could be judged.
    """

    states: tuple[FrameReport, ...]
    changes: tuple[StateChange, ...] = ()
    done: tuple[tuple[Method, ...], ...] = ()
    verdict: Verdict = field(default_factory=lambda: Verdict(level="reshoot"))
    story: str = ""
    notes: tuple[str, ...] = ()
