"""What pictures taken at other apertures would show, from one test shot."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from motemap.blas import one_blas_thread
from motemap.errors import SettingsError
from motemap.optics.apertures import stop_name
from motemap.particle import seen_from
from motemap.pipeline.frame import look_at
from motemap.pipeline.onlookers import onlooker_for
from motemap.pipeline.shots import group_shots
from motemap.pipeline.tally import tally_up
from motemap.pipeline.walk import find_frames
from motemap.showing import can_forecast

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.pipeline.judging import Look
    from motemap.records import FrameReport
    from motemap.settings import Settings, WorkSettings
    from motemap.tallies import ApertureTally


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """A judged test shot, and what each aperture asked for would show.

    Parameters
    ----------
    report : FrameReport
        The frame as `motemap.pipeline.frame.analyse` reports it.
    rows : tuple of ApertureTally
        In the order asked for; empty when the frame is not fit to judge from.
    """

    report: FrameReport
    rows: tuple[ApertureTally, ...]

    @property
    def is_known(self) -> bool:
        """Whether the frame was fit to judge, and any of its marks could be forecast."""
        return bool(self.rows) and can_forecast(self.report)


def find_shot(name: str | Path) -> Path:
    """Return the one test shot that a file or a folder stands for.

    A raw and the camera's picture of the same shot are one; the raw is taken.

    Raises
    ------
    SettingsError
        If a name leads nowhere, to a folder without a picture, or to one with several shots.
    """
    found = find_frames([name])
    shots = group_shots(found.paths)
    if len(shots) > 1:
        raise SettingsError(
            f"There are {len(shots)} test shots in this folder; a forecast is made from one.",
            repair="Name the one to forecast from.",
            path=str(name),
        )
    return shots[0].path if shots else Path(name)


@one_blas_thread()
def forecast_frame(
    path: Path,
    settings: Settings,
    f_numbers: Sequence[float],
    *,
    content: bytes | None = None,
) -> Forecast:
    """Judge one test shot and forecast pictures at some apertures.

    Parameters
    ----------
    path : Path
        The test shot.
    settings : Settings
        From when on a mark shows.
    f_numbers : sequence of float
        Apertures of the pictures.
    content : bytes, optional
        The picture itself when it does not come from a file.
    """
    look = look_at(path, settings, content=content)
    if look.report.state != "judged":
        return Forecast(report=look.report, rows=())
    spots = look.report.spots
    depths_frac = np.full((len(f_numbers), len(spots)), np.nan)
    if look.shadows is not None:
        depths_frac = look.shadows.depths_frac(f_numbers)
    seen_from_f = _seen_from(look, f_numbers, settings.work)
    rows = tally_up(f_numbers, look.report, depths_frac, seen_from_f, settings.work)
    return Forecast(report=look.report, rows=rows)


def forecast_at(look: Look, f_number: float, work: WorkSettings) -> FrameReport:
    """Return the report of a frame, its marks with the depth at one more aperture.

    Parameters
    ----------
    look : Look
    f_number : float
        An aperture other than the photographer's.
    work : WorkSettings
        From when on a mark shows.
    """
    if look.shadows is None:
        return look.report
    (depths_frac,) = look.shadows.depths_frac([f_number]).tolist()
    seen_from_f = _seen_from(look, [f_number], work).tolist()
    spots = [
        replace(
            spot,
            depth_at={**(spot.depth_at or {}), stop_name(f_number): depth_frac},
            shows_from_f=spot.shows_from_f if work.view is None or math.isnan(first) else first,
        )
        for spot, depth_frac, first in zip(look.report.spots, depths_frac, seen_from_f, strict=True)
    ]
    return replace(look.report, spots=tuple(spots))


def _seen_from(look: Look, f_numbers: Sequence[float], work: WorkSettings) -> NDArray[np.float64]:
    """Return from which aperture on an eye sees each mark; NaN where depth alone decides."""
    image = look.report.image
    onlooker = None if image is None else onlooker_for(image, work)
    if onlooker is None or look.shadows is None:
        return np.full(len(look.report.spots), np.nan)
    return seen_from(onlooker, look.shadows, f_numbers)
