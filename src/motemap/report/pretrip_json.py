"""The JSON report of a trip, for scripts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from motemap.report.frames import frame_to_dict
from motemap.report.opening import opening
from motemap.report.plain import encodable
from motemap.report.rounding import decimals
from motemap.report.rows import write_rows
from motemap.report.words import say_trouble

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.bodies import Trip, TripBody
    from motemap.records import FrameReport
    from motemap.settings import Settings

REPORT_NAME: Final = "motemap.pretrip"
REPORT_VERSION: Final = 1
STATES: Final = ("ready", "clean", "reshoot", "stale", "missing", "unreadable")
AGE_DECIMALS: Final = 2

COLUMNS: Final = (
    "maker",
    "model",
    "serial",
    "state",
    "method",
    "minutes",
    "found",
    "showing",
    "frames",
    "taken_at",
    "age_days",
    "faults",
    "notes",
)


def to_dict(
    trip: Trip, settings: Settings, *, expected: Sequence[str], max_age_days: float | None
) -> dict[str, Any]:
    """Return the whole report as plain dictionaries, lists, numbers and text.

    Parameters
    ----------
    expected : sequence of str
        Serial numbers that were asked for.
    max_age_days : float or None
        Oldest a state may be [days].
    """
    states = [body.state for body in trip.bodies]
    summary = {state: states.count(state) for state in STATES}
    summary["unreadable"] += len(trip.unreadable)
    return {
        **opening(REPORT_NAME, REPORT_VERSION, settings),
        "expected": [encodable(serial) for serial in expected],
        "max_age_days": max_age_days,
        "bodies": [{**_body(body), "frame": _frame(body)} for body in trip.bodies],
        "unreadable": [frame_to_dict(frame) for frame in trip.unreadable],
        "summary": summary,
    }


def to_csv(trip: Trip) -> str:
    """Return one row a body."""
    return write_rows(COLUMNS, [_body(body) for body in trip.bodies])


def _body(body: TripBody) -> dict[str, Any]:
    report = body.report
    is_judged = body.n_showing is not None and report is not None
    return {
        "maker": encodable(body.body.maker) or None,
        "model": encodable(body.body.model) or None,
        "serial": encodable(body.body.serial) or None,
        "state": body.state,
        "method": body.method,
        "minutes": body.minutes,
        "found": report.counts.found if report and is_judged else None,
        "showing": body.n_showing,
        "frames": body.n_frames,
        "taken_at": report.exposure.taken_at if report else None,
        "age_days": None if body.age_days is None else decimals(body.age_days, AGE_DECIMALS),
        "faults": [encodable(fault) for fault in _faults(report)],
        "notes": [encodable(note) for note in body.notes],
    }


def _faults(report: FrameReport | None) -> list[str]:
    """Say why a frame could not be judged by: the checks it failed, or that it was not read."""
    if report is None:
        return []
    if report.error is not None:
        return [report.error.cause]
    return [say_trouble(check) for check in report.shot_checks if check.outcome == "fail"]


def _frame(body: TripBody) -> dict[str, Any] | None:
    return None if body.report is None else frame_to_dict(body.report)
