"""The sensor's diagonal by the 35 mm equivalent focal length.

The equivalent is a whole number of millimetres, so it tells formats apart but not their last
per cent. It refers to the diagonal of 36 x 24 mm.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from motemap.facts.formats import FULL_FRAME_DIAGONAL_MM, find_format, nearest_by_diagonal
from motemap.sensor.size import (
    WIDTH_RANGE_MM,
    SensorSize,
    crop_notes,
    long_px,
    sensor_of_size,
    short_px,
    size_of_format,
    write_size,
)

if TYPE_CHECKING:
    from motemap.records import ImageInfo, Metadata, Sensor

EQUIVALENT_TOLERANCE_FRAC: Final = 0.07
"""How far a diagonal by the rounded equivalent may lie from that of its format."""

CONFLICT_RATIO: Final = 1.2
"""Two statements about the diagonal that differ by more cannot both be true."""


def equivalent_diagonal(metadata: Metadata) -> float | None:
    """Return the diagonal [mm] that follows from the 35 mm equivalent; None when unknown."""
    real_mm = metadata.exposure.focal_length_mm
    equivalent_mm = metadata.hints.focal_length_35mm
    if not real_mm or not equivalent_mm:
        return None
    diagonal_mm = FULL_FRAME_DIAGONAL_MM * real_mm / equivalent_mm
    low_mm, high_mm = WIDTH_RANGE_MM
    return diagonal_mm if low_mm <= diagonal_mm <= math.hypot(high_mm, high_mm) else None


def is_conflict(sensor: Sensor, diagonal_mm: float) -> bool:
    """Whether a sensor found otherwise and the 35 mm equivalent cannot both be true.

    A crop in the camera is measured by the format it was cut from.
    """
    named = find_format(sensor.format) if sensor.format else None
    found_mm = (
        math.hypot(sensor.width_mm or 0.0, sensor.height_mm or 0.0)
        if named is None
        else named.diagonal_mm
    )
    return not 1 / CONFLICT_RATIO < found_mm / diagonal_mm < CONFLICT_RATIO


def sensor_of_diagonal(diagonal_mm: float, info: ImageInfo) -> tuple[Sensor, tuple[str, ...]]:
    """Return the sensor whose diagonal is nearest, and what to say about it."""
    near = nearest_by_diagonal(diagonal_mm, tolerance_frac=EQUIVALENT_TOLERANCE_FRAC)
    if near is not None:
        size = size_of_format(near)
    else:
        mm_per_px = diagonal_mm / math.hypot(info.width_px, info.height_px)
        size = SensorSize(
            format=None,
            width_mm=long_px(info) * mm_per_px,
            height_mm=short_px(info) * mm_per_px,
        )
    sensor = sensor_of_size(size, info, "metadata")
    remark = (
        f"Sensor taken as {size.format or 'no named format'}, {write_size(sensor)}, from the "
        "35 mm equivalent focal length; true to a few per cent. --sensor states it exactly."
    )
    return sensor, (remark, *crop_notes(size, sensor))
