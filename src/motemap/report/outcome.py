"""What one frame comes to, and how many frames came to what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.records import FrameReport

FrameOutcome = Literal["ready", "clean", "reshoot", "unreadable"]

OUTCOMES: tuple[FrameOutcome, ...] = ("ready", "clean", "reshoot", "unreadable")
"""In the order in which reports count them."""


def outcome(frame: FrameReport) -> FrameOutcome:
    """Return what a frame comes to; one without a verdict was not read."""
    if frame.state == "unreadable" or frame.verdict is None:
        return "unreadable"
    return frame.verdict.level


def count_outcomes(frames: Iterable[FrameReport]) -> dict[FrameOutcome, int]:
    """Return how many frames came to what; every outcome is a key."""
    counts = dict.fromkeys(OUTCOMES, 0)
    for frame in frames:
        counts[outcome(frame)] += 1
    return counts
