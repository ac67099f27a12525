"""The course of bodies as JSON and as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from motemap.changes import FATES
from motemap.report.opening import opening
from motemap.report.plain import encodable
from motemap.report.rounding import decimals
from motemap.report.rows import write_rows

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from motemap.bodies import BodyCourse, CourseStep
    from motemap.settings import Settings

REPORT_NAME: Final = "motemap.course"
REPORT_VERSION: Final = 1

COLUMNS: Final = (
    "maker",
    "model",
    "serial",
    "file",
    "at",
    "f_number",
    "done",
    "found",
    "showing",
    *FATES,
    "level",
    "method",
)


def to_dict(courses: Sequence[BodyCourse], settings: Settings) -> dict[str, Any]:
    """Return the courses as plain dictionaries, lists, numbers and text."""
    return {
        **opening(REPORT_NAME, REPORT_VERSION, settings),
        "bodies": [_course(course) for course in courses],
    }


def to_csv(courses: Sequence[BodyCourse]) -> str:
    """Return one row a kept state."""
    return write_rows(COLUMNS, _rows(courses))


def _rows(courses: Sequence[BodyCourse]) -> Iterator[dict[str, Any]]:
    for course in courses:
        for step in course.steps:
            state = _step(step)
            yield {**_names(course), **state, **(state["counts"] or {})}


def _names(course: BodyCourse) -> dict[str, Any]:
    body = course.body
    return {
        "maker": encodable(body.maker) or None,
        "model": encodable(body.model) or None,
        "serial": encodable(body.serial) or None,
    }


def _course(course: BodyCourse) -> dict[str, Any]:
    comeback, stack = course.comeback, course.stack
    return {
        **_names(course),
        "states": [_step(step) for step in course.steps],
        "outlived": [
            {
                "id": each.spot_id,
                "kind": each.kind,
                "place": each.place,
                "particle_um": each.particle_um,
                "shows": each.is_showing,
                "times_seen": each.times_seen,
                "methods": list(each.outlived),
            }
            for each in course.survivors
        ],
        "stack": {
            "distance_mm": _number(stack.distance_mm if stack else None),
            "uncertainty_mm": _number(stack.uncertainty_mm if stack else None),
        },
        "comeback": {
            "new": comeback.n_new,
            "days_watched": decimals(comeback.n_days),
            "days_to_next": _number(comeback.days_to_next),
            "is_at_least": comeback.is_at_least,
        },
    }


def _step(step: CourseStep) -> dict[str, Any]:
    report, verdict = step.state.report, step.state.report.verdict
    return {
        "file": encodable(report.file),
        "digest": step.state.digest,
        "at": step.state.moment,
        "recorded_at": step.state.recorded_at,
        "f_number": report.exposure.f_number,
        "done": list(step.state.done),
        "found": step.n_found,
        "showing": step.n_showing,
        "counts": None if step.change is None else dict(step.change.counts.items()),
        "level": verdict.level if verdict else None,
        "method": verdict.method if verdict else None,
    }


def _number(value: float | None) -> float | None:
    return None if value is None else decimals(value)
