"""What follows from the marks of a frame and the checks of its shot, decided in one place for all."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from motemap.pipeline.tally import with_tallies
from motemap.records import Sensor
from motemap.showing import as_seen, can_forecast, shows
from motemap.verdict import ShotFacts, judge

if TYPE_CHECKING:
    from motemap.records import FrameReport, State
    from motemap.settings import WorkSettings
    from motemap.verdict import PastPasses

UNKNOWN_SENSOR = Sensor(format=None, width_mm=None, height_mm=None, pitch_um=None, source="assumed")
"""Stands for the sensor of a report that tells of none, as one of a hand-made sequence may."""


def conclude(
    report: FrameReport, work: WorkSettings, past: PastPasses | None = None
) -> FrameReport:
    """Return a report with state, counts, verdict, forecast and cleanliness reckoned from the rest.

    Of a frame that has to be shot again nothing is forecast and no cleanliness said: its marks
    were seen, not judged.

    Parameters
    ----------
    report : FrameReport
        With marks, checks of the shot, sensor and exposure.
    work : WorkSettings
        The photographer's aperture, and what was done before the frame.
    past : PastPasses, optional
        What earlier states tell.
    """
    failed = tuple(check for check in report.shot_checks if check.outcome == "fail")
    state: State = "reshoot" if failed else "judged"
    spots = as_seen(report.spots) if failed else report.spots
    report = replace(report, state=state, spots=spots)
    counts, verdict = judge(
        spots,
        shows=tuple(shows(spot, work) for spot in spots),
        work=work,
        shot=ShotFacts(
            sensor=report.sensor or UNKNOWN_SENSOR,
            failed=failed,
            has_forecast=can_forecast(report),
        ),
        past=past,
    )
    return with_tallies(replace(report, counts=counts, verdict=verdict), work)
