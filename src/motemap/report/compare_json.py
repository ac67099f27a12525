"""The JSON report of a comparison, as in ``docs/reference/json.md``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from motemap.report.frames import frame_to_dict
from motemap.report.opening import opening
from motemap.report.plain import encodable
from motemap.report.rounding import decimals

if TYPE_CHECKING:
    from motemap.changes import Comparison, MarkFate, Registration, StateChange
    from motemap.settings import Settings

REPORT_NAME = "motemap.compare"
REPORT_VERSION = 1
SCALE_DECIMALS = 6
"""Of a scale: a millionth is a hundredth of a pixel at the corner."""


def to_dict(comparison: Comparison, settings: Settings) -> dict[str, Any]:
    """Return the whole report as plain dictionaries, lists, numbers and text."""
    verdict = comparison.verdict
    return {
        **opening(REPORT_NAME, REPORT_VERSION, settings),
        "states": [frame_to_dict(state) for state in comparison.states],
        "changes": [change_to_dict(change) for change in comparison.changes],
        "verdict": {
            "level": verdict.level,
            "method": verdict.method,
            "reasons": [encodable(reason) for reason in verdict.reasons],
            "cautions": [encodable(caution) for caution in verdict.cautions],
        },
        "story": encodable(comparison.story),
        "notes": [encodable(note) for note in comparison.notes],
    }


def change_to_dict(change: StateChange) -> dict[str, Any]:
    """Return what changed between two states."""
    return {
        "from": encodable(change.before),
        "to": encodable(change.after),
        "done": list(change.done),
        "registration": _registration(change.registration),
        "spots": [_mark(mark) for mark in change.marks],
        "counts": dict(change.counts.items()),
        "notes": [encodable(note) for note in change.notes],
    }


def _registration(found: Registration) -> dict[str, Any]:
    return {
        "scale": None if found.scale is None else decimals(found.scale, SCALE_DECIMALS),
        "shift_x_px": _px(found.shift_x_px),
        "shift_y_px": _px(found.shift_y_px),
        "residual_px": _px(found.residual_px),
        "marks_used": found.n_used,
        "reason": found.reason,
    }


def _px(value: float | None) -> float | None:
    return None if value is None else decimals(value)


def _mark(mark: MarkFate) -> dict[str, Any]:
    return {
        "fate": mark.fate,
        "before_id": mark.before_id,
        "after_id": mark.after_id,
        "reasons": list(mark.reasons),
    }
