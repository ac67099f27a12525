"""The fates in words."""

import math

from motemap.records import FrameReport, Spot

ON_LENS = "lies on the lens: it tells nothing of the sensor"
OUTSIDE = "lies outside the other picture"
HIDDEN = "would lie in the shadow of another mark"
TOO_FAINT = "too faint for the other frame to be sure"
PARTED = "runs together with a mark that only one frame tells apart"
NO_APERTURE = "the other frame may have been shot too wide open to show it: an aperture is unknown"

ABOUT_SAME = 0.15
"""Relative size change that is not worth a word."""


def gone_reason(other: FrameReport, others: tuple[int, int] | None = None) -> str:
    """Say why an absent mark counts as gone.

    Parameters
    ----------
    other : FrameReport
        The frame that lacks it.
    others : tuple of int, optional
        Where that frame might miss a mark so faint: how many clearer ones went, and of how many.
    """
    if others is None:
        return f"would show at {_aperture(other)}, and is not there"
    return f"{_aperture(other)} may miss marks so faint, but {_of_clearer(*others)} went too"


def new_reason(other: FrameReport, others: tuple[int, int] | None = None) -> str:
    """Say why a mark counts as new; see `gone_reason`."""
    if others is None:
        return f"would have shown before at {_aperture(other)}, and was not there"
    return (
        f"{_aperture(other)} may have missed a mark so faint before, "
        f"but {_of_clearer(*others)} came too"
    )


def _of_clearer(n_absent: int, n_clear: int) -> str:
    """Say how many of the clearer marks only one frame has."""
    if n_absent < n_clear:
        return f"{n_absent} of {n_clear} clearer ones"
    return "the only clearer one" if n_clear == 1 else f"all {n_clear} clearer ones"


def stayed_reason(log_ratio: float) -> str:
    """Say how a mark that stayed compares."""
    if math.isnan(log_ratio):
        return "same place"
    change = math.expm1(log_ratio)
    if abs(change) <= ABOUT_SAME:
        return "same place, same size"
    return f"same place, measured {100 * abs(change):.0f} % {'larger' if change > 0 else 'smaller'}"


def weaker_reason(log_ratio: float) -> str:
    """Say how much of a mark is left."""
    return f"same place, {-100 * math.expm1(log_ratio):.0f} % smaller"


def moved_reason(one: Spot, two: Spot, posterior: float) -> str:
    """Say how far a mark moved and how sure that is."""
    sure = f"same size, chance match unlikely ({100 * (1.0 - posterior):.0f} %)"
    places = (one.from_left_mm, one.from_top_mm, two.from_left_mm, two.from_top_mm)
    if None in places:
        return sure
    left, top, new_left, new_top = (value or 0.0 for value in places)
    return f"{math.hypot(new_left - left, new_top - top):.1f} mm away: {sure}"


def perhaps_reasons(one: Spot, two: Spot, posterior: float) -> tuple[str, str]:
    """Say of a mark that went and of one that came that they may be one particle."""
    odds = f"({100 * posterior:.0f} %, by its size)"
    return (
        f"may have moved to where number {two.id} came {odds}",
        f"may be number {one.id} of before, moved {odds}",
    )


def _aperture(report: FrameReport) -> str:
    f_number = report.exposure.f_number
    return f"f/{f_number:g}" if f_number else "this aperture"
