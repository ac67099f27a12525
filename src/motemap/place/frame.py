"""Picture to sensor and back.

The lens turns the picture upside down, and facing the sensor mirrors it left to right. Both
together: left stays left, top becomes bottom.
"""

from __future__ import annotations

from typing import Final

from motemap.coords import HALF_PX, MM_PER_UM, FrameGeometry, FramePoint, Place, SensorPoint
from motemap.errors import GeometryError

TURNED: Final = (
    "The stored picture stands upright: a program turned its pixels after the camera wrote it, "
    "and which way is lost. Positions on the sensor are unknown; use the file as it came out of "
    "the camera."
)
NO_PITCH: Final = "The size of the sensor is unknown, so positions on it are too; give --sensor."


def why_unplaced(geometry: FrameGeometry) -> str | None:
    """Return why marks of this picture have no place on the sensor; None when they have.

    The orientation tag is no help: cameras store even portrait shots lying, with a tag that
    tells how to turn them, so upright pixels are another program's work whatever the tag says.
    """
    if geometry.pitch_um is None:
        return NO_PITCH
    return None if geometry.is_placeable else TURNED


def to_sensor(point: FramePoint, geometry: FrameGeometry) -> SensorPoint:
    """Return where on the sensor a position in the picture lies.

    Raises
    ------
    GeometryError
        If the picture cannot be placed; the cause says why.

    >>> stored = FrameGeometry(height_px=4000, width_px=6000, pitch_um=6.0)
    >>> there = to_sensor(FramePoint(row_px=500, col_px=1000), stored)
    >>> round(there.from_left_mm, 3), round(there.from_top_mm, 3)
    (6.003, 20.997)
    """
    from_left_mm, from_top_mm = on_sensor(point.row_px, point.col_px, *scale(geometry))
    return SensorPoint(from_left_mm=from_left_mm, from_top_mm=from_top_mm)


def to_frame(point: SensorPoint, geometry: FrameGeometry) -> FramePoint:
    """Return where in the stored picture a position on the sensor lies.

    Raises
    ------
    GeometryError
        If the picture cannot be placed; the cause says why.
    """
    mm_per_px, height_mm = scale(geometry)
    return FramePoint(
        row_px=(height_mm - point.from_top_mm) / mm_per_px - HALF_PX,
        col_px=point.from_left_mm / mm_per_px - HALF_PX,
    )


def on_sensor(
    row_px: Place, col_px: Place, mm_per_px: float, height_mm: float
) -> tuple[Place, Place]:
    """Return how far from the left and from the top positions lie, of a known `scale` [mm]."""
    return (col_px + HALF_PX) * mm_per_px, height_mm - (row_px + HALF_PX) * mm_per_px


def scale(geometry: FrameGeometry) -> tuple[float, float]:
    """Return millimetres per pixel and the height of the imaging area [mm].

    Raises
    ------
    GeometryError
        If the picture cannot be placed; the cause says why.
    """
    reason = why_unplaced(geometry)
    if reason is not None or geometry.pitch_um is None:
        raise GeometryError(
            "Positions in this picture cannot be carried over to the sensor.",
            repair=reason or NO_PITCH,
        )
    mm_per_px = geometry.pitch_um * MM_PER_UM
    return mm_per_px, geometry.height_px * mm_per_px
