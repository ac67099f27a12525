"""Counting what was found: what shows at which aperture, and how dirty the sensor is."""

from __future__ import annotations

from dataclasses import replace
from heapq import nsmallest
from typing import TYPE_CHECKING

from motemap.optics.apertures import REPORTED_STOPS, stop_name
from motemap.tallies import ApertureTally
from motemap.verdict import cleanliness

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport, Spot
    from motemap.settings import WorkSettings

N_WORST = 3
"""Marks named for one aperture."""


def with_tallies(report: FrameReport, work: WorkSettings) -> FrameReport:
    """Return a report with its forecast by aperture and its cleanliness reckoned from its spots.

    Parameters
    ----------
    report : FrameReport
        One that was not searched for marks is returned as it is.
    work : WorkSettings
        From when on a mark shows.
    """
    if report.sensitivity.smallest_depth_frac is None:
        return report
    forecast = []
    for f_number in REPORTED_STOPS:
        label = stop_name(f_number)
        depths = [(spot.depth_at or {}).get(label) for spot in report.spots]
        forecast.append(tally_at(f_number, report.spots, depths, work))
    dirt = None
    if report.sensor is not None:
        dirt = cleanliness(report.spots, report.sensor, report.sensitivity)
    return replace(report, forecast=tuple(forecast), cleanliness=dirt)


def tally_at(
    f_number: float,
    spots: Sequence[Spot],
    depths_frac: Sequence[float | None],
    work: WorkSettings,
) -> ApertureTally:
    """Count the marks that pictures at one aperture will show.

    Parameters
    ----------
    spots : sequence of Spot
        Marks of one frame.
    depths_frac : sequence of float or None
        How deep each will be at the aperture; None where that cannot be said.
    """
    n_known, n_unknown = 0, 0
    showing: dict[int, float] = {}
    for spot, depth_frac in zip(spots, depths_frac, strict=True):
        if spot.layer == "lens side":
            continue
        if depth_frac is None:
            n_unknown += 1
            continue
        n_known += 1
        if _shows(spot, depth_frac, f_number, work):
            showing[spot.id] = depth_frac
    worst = nsmallest(N_WORST, showing, key=lambda number: (-showing[number], number))
    return ApertureTally(
        f_number=f_number,
        n_showing=None if n_unknown and not n_known else len(showing),
        n_unknown=n_unknown,
        worst=tuple(worst),
        worst_depth_frac=tuple(showing[number] for number in worst),
    )


def _shows(spot: Spot, depth_frac: float, f_number: float, work: WorkSettings) -> bool:
    if work.view is None:
        return depth_frac >= work.show_depth_frac
    return spot.shows_from_f is not None and spot.shows_from_f <= f_number
