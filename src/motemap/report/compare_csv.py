"""The comparison as a table: one row a mark and change."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

from motemap.report.plain import encodable
from motemap.report.rows import write_rows
from motemap.report.spots import spots_to_dicts

if TYPE_CHECKING:
    from collections.abc import Iterator

    from motemap.changes import Comparison, MarkFate, StateChange
    from motemap.records import FrameReport

SPOT_COLUMNS = (
    "image_x_px",
    "image_y_px",
    "from_left_mm",
    "from_top_mm",
    "place",
    "depth_frac",
    "particle_um",
    "kind",
    "layer",
    "shows_from_f",
)
"""What a row says of the mark: as it is after, or before when it is there no more."""

COLUMNS = ("from", "to", "done", "fate", "before_id", "after_id", *SPOT_COLUMNS, "reasons")


def render(comparison: Comparison) -> str:
    """Return one row a mark and change; a change without marks gives one row of its own."""
    judged = [state for state in comparison.states if state.state == "judged"]
    rows: list[dict[str, Any]] = []
    for change, (before, after) in zip(comparison.changes, pairwise(judged), strict=True):
        rows += _rows(change, before, after)
    return write_rows(COLUMNS, rows)


def _rows(change: StateChange, before: FrameReport, after: FrameReport) -> Iterator[dict[str, Any]]:
    shared = {
        "from": encodable(change.before),
        "to": encodable(change.after),
        "done": list(change.done),
    }
    if not change.marks:
        yield shared
    spots = (
        {spot["id"]: spot for spot in spots_to_dicts(before.spots)},
        {spot["id"]: spot for spot in spots_to_dicts(after.spots)},
    )
    for mark in change.marks:
        known = spots[1].get(mark.after_id or 0) or spots[0].get(mark.before_id or 0)
        yield {
            **shared,
            **_mark(mark),
            **(known or {}),
            "reasons": list(mark.reasons),
        }


def _mark(mark: MarkFate) -> dict[str, Any]:
    return {"fate": mark.fate, "before_id": mark.before_id, "after_id": mark.after_id}
