"""How the apertures of two frames compare, by their files or by the marks that stayed."""

import math
from dataclasses import dataclass, replace

import numpy as np

from motemap.changes import Registration
from motemap.matching import Pairing
from motemap.records import FrameReport, Spot

SAME_STOP = 0.2
"""Apertures nearer than this count as equal [stops]: nominal against exact f-numbers."""

SAME_STOP_BY_MARKS = 0.5
"""The same where the marks tell: half a stop changes a speck's depth by less than a mark must
lose to count as weaker."""

SATURATED_FRAC = 0.5
"""A mark deeper than this is larger than the blur disc; its depth says little of its size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apertures:
    """The apertures of two frames.

    Parameters
    ----------
    ratio : float or None
        F-number of the second over that of the first; None where neither files nor marks tell.
    is_read : bool
        Whether both files say it.
    """

    ratio: float | None = None
    is_read: bool = False

    @property
    def stops(self) -> float | None:
        """How much narrower the second is [stops]."""
        return None if self.ratio is None else 2.0 * math.log2(self.ratio)

    @property
    def is_same(self) -> bool:
        """Whether depths in one frame are to be expected in the other."""
        limit = SAME_STOP if self.is_read else SAME_STOP_BY_MARKS
        return self.stops is not None and abs(self.stops) <= limit

    @property
    def turned(self) -> "Apertures":
        """The same, seen from the second frame."""
        return replace(self, ratio=None if self.ratio is None else 1.0 / self.ratio)

    def depth_factor(self, spot: Spot) -> float:
        """By how much a mark of the first frame is deeper in the second; 1 where unknown."""
        return 1.0 if self.ratio is None else self.ratio ** depth_power(spot)


def depth_power(spot: Spot) -> int:
    """Return with which power of the f-number a mark's depth goes (see the page on shadows)."""
    return 1 if spot.kind == "fibre" else 2


def compare_apertures(
    before: FrameReport, after: FrameReport, pairs: Pairing, registration: Registration
) -> Apertures:
    """Read the apertures, or learn their ratio from the depths of marks that are in both frames.

    Parameters
    ----------
    before, after : FrameReport
        In order of time.
    pairs : Pairing
        Which of their spots are one.
    registration : Registration
        Pairs found without one tell nothing.

    Returns
    -------
    Apertures
        Where it is unknown, what all that stayed lost alike is laid to the aperture, so that the
        less is claimed for the cleaning.
    """
    one, two = before.exposure.f_number, after.exposure.f_number
    if one and two:
        return Apertures(ratio=two / one, is_read=True)
    if not registration.is_known:
        return Apertures()
    both = [
        (before.spots[row], after.spots[col])
        for row, col in zip(pairs.rows.tolist(), pairs.cols.tolist(), strict=True)
    ]
    told = [_log_ratio(ours, theirs) for ours, theirs in both if _tells(ours, theirs)]
    return Apertures(ratio=math.exp(float(np.median(told)))) if told else Apertures()


def _tells(ours: Spot, theirs: Spot) -> bool:
    """Whether the depths of a mark in two frames tell how their apertures compare."""
    follows = all(
        spot.layer not in {"lens side", "inside"} and spot.kind != "smear"
        for spot in (ours, theirs)
    )
    is_clear = all(0.0 < spot.depth_frac < SATURATED_FRAC for spot in (ours, theirs))
    return follows and is_clear and depth_power(ours) == depth_power(theirs)


def _log_ratio(ours: Spot, theirs: Spot) -> float:
    return math.log(theirs.depth_frac / ours.depth_frac) / depth_power(ours)


def aperture_note(before: FrameReport, after: FrameReport, found: Apertures) -> str | None:
    """Say how frames of unlike or unknown aperture were compared; None for like ones."""
    one, two = before.exposure.f_number, after.exposure.f_number
    if one and two:
        shots = f"shot at f/{one:g} and f/{two:g}"
        return None if found.is_same else f"{shots}: compared by particle size, not by depth"
    whose = "either" if not (one or two) else "the second" if one else "the first"
    unknown = f"no aperture in {whose} file"
    if found.stops is None:
        return f"{unknown}, and the marks do not tell it: nothing counts as gone, new or weaker"
    if found.is_same:
        return f"{unknown}: by the depths of what stayed it was the same"
    way = "narrower" if found.stops > 0 else "wider"
    return (
        f"{unknown}: by the depths of what stayed the second was {abs(found.stops):.1f} stops "
        f"{way}, or the cleaning weakened all alike; marks that only this would hide are undecided"
    )
