"""Streaks that a wet pass left along its path."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.changes import StateChange
    from motemap.records import FrameReport, Spot

LEAST_ASPECT = 5.0
LEAST_WIDTH_UM = 300.0
MOST_DEPTH_FRAC = 0.1
"""A streak is long over its width, broad and faint (an informed guess); those whose profile is a
bell are told from uneven light, and so reported at all, only from 4 % on."""


def has_streaks(change: StateChange, after: FrameReport) -> bool:
    """Tell whether long faint bands came with a cleaning pass.

    Parameters
    ----------
    change : StateChange
    after : FrameReport
        The state after the pass.
    """
    came = {mark.after_id for mark in change.marks if mark.fate == "new"}
    return any(spot.id in came and _is_streak(spot) for spot in after.spots)


def _is_streak(spot: Spot) -> bool:
    if not spot.width_um or not spot.length_um:
        return False
    is_band = spot.length_um >= LEAST_ASPECT * spot.width_um
    is_broad = spot.width_um >= LEAST_WIDTH_UM or spot.kind == "smear"
    return is_band and is_broad and spot.depth_frac <= MOST_DEPTH_FRAC
