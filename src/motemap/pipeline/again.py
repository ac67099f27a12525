"""Judging a finished report once more: its spots are known, its verdict is not (any more)."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from motemap.pipeline.tally import with_tallies
from motemap.records import Sensor
from motemap.report.spot_table import shows
from motemap.verdict import judge

if TYPE_CHECKING:
    from motemap.records import FrameReport, State
    from motemap.settings import WorkSettings
    from motemap.verdict import PastPasses

UNKNOWN_SENSOR = Sensor(format=None, width_mm=None, height_mm=None, pitch_um=None, source="assumed")


def showing(report: FrameReport, work: WorkSettings) -> tuple[bool, ...]:
    """Say of each spot whether it shows at the photographer's aperture."""
    return tuple(shows(spot, work) for spot in report.spots)


def judge_again(
    report: FrameReport, work: WorkSettings, past: PastPasses | None = None
) -> FrameReport:
    """Return a report with its counts and verdict reckoned from its spots.

    Parameters
    ----------
    report : FrameReport
        An unreadable one is returned as it is.
    work : WorkSettings
        The photographer's aperture, and what was done before the frame.
    past : PastPasses, optional
        What earlier states tell.
    """
    if report.state == "unreadable":
        return report
    counts, verdict = judge(
        report.spots,
        shows=showing(report, work),
        work=work,
        sensor=report.sensor or UNKNOWN_SENSOR,
        shot_failed=tuple(check for check in report.shot_checks if check.outcome == "fail"),
        past=past,
    )
    state: State = "reshoot" if verdict.level == "reshoot" else "judged"
    return with_tallies(replace(report, state=state, counts=counts, verdict=verdict), work)
