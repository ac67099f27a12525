"""Counting what was found: what shows at which aperture, and how dirty the sensor is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.apertures import REPORTED_STOPS, stop_name
from motemap.showing import can_forecast, is_on_sensor, is_seen
from motemap.tallies import ApertureTally
from motemap.verdict import cleanliness

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FrameReport
    from motemap.settings import WorkSettings

N_WORST = 3
"""Marks named for one aperture."""


def with_tallies(report: FrameReport, work: WorkSettings) -> FrameReport:
    """Return a report with its forecast by aperture and its cleanliness reckoned from its spots.

    Parameters
    ----------
    report : FrameReport
        One that has to be shot again gets neither; one that was not searched for marks is
        returned as it is.
    work : WorkSettings
        From when on a mark shows.
    """
    if report.state != "judged":
        return replace(report, forecast=(), cleanliness=None)
    if report.sensitivity.smallest_depth_frac is None:
        return report
    labels = [stop_name(f_number) for f_number in REPORTED_STOPS]
    depths_at = [spot.depth_at or {} for spot in report.spots]
    depths_frac = np.array([[at.get(label) for at in depths_at] for label in labels], np.float64)
    seen_from_f = np.array([spot.shows_from_f for spot in report.spots], np.float64)
    dirt = None
    if report.sensor is not None:
        dirt = cleanliness(report.spots, report.sensor, report.sensitivity)
    return replace(
        report,
        forecast=tally_up(REPORTED_STOPS, report, depths_frac, seen_from_f, work),
        cleanliness=dirt,
    )


def tally_up(
    f_numbers: Sequence[float],
    report: FrameReport,
    depths_frac: NDArray[np.float64],
    seen_from_f: NDArray[np.float64],
    work: WorkSettings,
) -> tuple[ApertureTally, ...]:
    """Count the marks that pictures at m apertures would show.

    Parameters
    ----------
    f_numbers : sequence of float
        The apertures.
    report : FrameReport
        The frame, which has n marks.
    depths_frac : (m, n) float64
        How deep each will be at each aperture (0-1); NaN where that cannot be said.
    seen_from_f : (n,) float64
        Widest aperture at which an eye sees each, those asked for among the apertures tried; NaN
        for none. Counts only with a way of looking at the picture.
    """
    spots, has_forecast = report.spots, can_forecast(report)
    concerns = np.array([is_on_sensor(spot) for spot in spots], np.bool_)
    ids = np.array([spot.id for spot in spots], np.intp)
    tallies = []
    for f_number, depth_frac in zip(f_numbers, depths_frac, strict=True):
        is_known = concerns & ~np.isnan(depth_frac)
        showing = np.flatnonzero(is_known & is_seen(depth_frac, seen_from_f, f_number, work))
        worst = showing[np.lexsort((ids[showing], -depth_frac[showing]))[:N_WORST]]
        n_unknown = int(np.count_nonzero(concerns & ~is_known))
        is_untold = n_unknown > 0 and not is_known.any()
        tallies.append(
            ApertureTally(
                f_number=f_number,
                n_showing=None if is_untold or not has_forecast else showing.size,
                n_unknown=n_unknown,
                worst=tuple(ids[worst].tolist()),
                worst_depth_frac=tuple(depth_frac[worst].tolist()),
            )
        )
    return tuple(tallies)
