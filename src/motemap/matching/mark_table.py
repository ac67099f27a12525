"""The spots of a report as columns of numbers."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motemap.coords import UM_PER_MM
from motemap.records import FrameReport, Spot

SIZE_ERROR_FRAC = 0.10
"""Relative error of a particle size, noise apart: measured on drawn frames."""

LEAST_GATE_PX = 3.0
"""Marks nearer than this after registration may be one: a choice, not measured."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkTable:
    """The marks of one frame, one row each, in the order of the report.

    Parameters
    ----------
    place_px : (N, 2) float64
        Right and down from the middle of the stored picture [px].
    log_size : (N,) float64
        Natural logarithm of the equivalent diameter [um]; NaN where unknown.
    log_size_error : (N,) float64
        Its standard deviation.
    reach_px : (N,) float64
        Half of the mark's length: how far its shadow reaches [px].
    is_fixed : (N,) bool
        Whether the mark lies on the sensor, so that a registration may rest on it.
    half_width_px, half_height_px : float
        Half of the picture's sides.
    blur_px : float
        Diameter of the blur disc; 0 when unknown [px].
    """

    place_px: NDArray[np.float64]
    log_size: NDArray[np.float64]
    log_size_error: NDArray[np.float64]
    reach_px: NDArray[np.float64]
    is_fixed: NDArray[np.bool_]
    half_width_px: float
    half_height_px: float
    blur_px: float

    def __len__(self) -> int:
        return len(self.log_size)

    @property
    def area_px2(self) -> float:
        """Area of the picture [px2]."""
        return 4.0 * self.half_width_px * self.half_height_px

    @property
    def gate_px(self) -> float:
        """How near two pictures of one mark lie to each other [px]."""
        return max(self.blur_px / 2.0, LEAST_GATE_PX)


def mark_table(report: FrameReport) -> MarkTable:
    """Turn the spots of a report into columns.

    Parameters
    ----------
    report : FrameReport
        A frame whose picture size is known.

    Returns
    -------
    MarkTable
        One row a spot, in the report's order.
    """
    width_px, height_px = _picture_size(report)
    pitch_um = report.sensor.pitch_um if report.sensor else None
    spots = report.spots
    places = [(spot.image_x_px, spot.image_y_px) for spot in spots]
    middle = ((width_px - 1) / 2.0, (height_px - 1) / 2.0)
    return MarkTable(
        place_px=np.array(places, dtype=np.float64).reshape(-1, 2) - middle,
        log_size=np.array([_log_size(spot) for spot in spots], dtype=np.float64),
        log_size_error=np.array([_size_error(spot) for spot in spots], dtype=np.float64),
        reach_px=np.array([_reach_px(spot, pitch_um) for spot in spots], dtype=np.float64),
        is_fixed=np.array([spot.layer != "lens side" for spot in spots], dtype=np.bool_),
        half_width_px=width_px / 2.0,
        half_height_px=height_px / 2.0,
        blur_px=_blur_px(report, pitch_um),
    )


def _picture_size(report: FrameReport) -> tuple[int, int]:
    if report.image is not None:
        return report.image.width_px, report.image.height_px
    right = max((spot.image_x_px for spot in report.spots), default=0.0)
    down = max((spot.image_y_px for spot in report.spots), default=0.0)
    return math.ceil(right) + 1, math.ceil(down) + 1


def _log_size(spot: Spot) -> float:
    """Diameter of the disc that would take away as much light as the whole mark."""
    if spot.kind == "fibre" and spot.particle_um and spot.length_um:
        return 0.5 * math.log(4.0 / math.pi * spot.particle_um * spot.length_um)
    # Before the size: records of old hold widths of long drops and films there.
    if spot.lost_area_um2 and spot.lost_area_um2 > 0:
        return 0.5 * math.log(4.0 / math.pi * spot.lost_area_um2)
    return math.log(spot.particle_um) if spot.particle_um else math.nan


def _size_error(spot: Spot) -> float:
    return math.hypot(SIZE_ERROR_FRAC, 1.0 / max(spot.snr, 1.0))


def _reach_px(spot: Spot, pitch_um: float | None) -> float:
    extent_um = max(spot.length_um or 0.0, spot.width_um or 0.0)
    return extent_um / (2.0 * pitch_um) if pitch_um else 0.0


def _blur_px(report: FrameReport, pitch_um: float | None) -> float:
    """Blur disc: stack distance over f-number (derived from the rays)."""
    f_number, distance_mm = report.exposure.f_number, report.stack.distance_mm
    if not (f_number and distance_mm and pitch_um):
        return 0.0
    return distance_mm * UM_PER_MM / (f_number * pitch_um)
