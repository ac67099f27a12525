"""How large is the sensor? From what the user says, else the metadata, else a stated guess.

The answer always satisfies ``width_mm = long side in pixels * pitch``, so that positions in
pixels and in millimetres agree to the last digit; a nominal 36.0 mm may thus read 35.9.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.coords import FrameGeometry
from motemap.facts.formats import find_format
from motemap.sensor.equivalent import equivalent_diagonal, is_conflict, sensor_of_diagonal
from motemap.sensor.focal_plane import focal_plane_pitch
from motemap.sensor.size import (
    crop_notes,
    is_same_shape,
    parse_wish,
    sensor_of_pitch,
    sensor_of_size,
    size_of_format,
    write_size,
)

if TYPE_CHECKING:
    from motemap.records import ImageInfo, Metadata, Sensor

__all__ = ["geometry_of", "parse_wish", "resolve_sensor"]

FOUR_THIRDS_MAX_PX: Final = 40_000_000
MEDIUM_FORMAT_MAX_PX: Final = 110_000_000
"""With nothing but a 4:3 shape, the pixel count tells the small format from the large ones."""

CONTRADICTED: Final = (
    "By the focal-plane resolution in the metadata the sensor would be {size}, which the 35 mm "
    "equivalent contradicts; it was left out."
)


def resolve_sensor(
    info: ImageInfo, metadata: Metadata, wish: str | None = None
) -> tuple[Sensor, tuple[str, ...]]:
    """Find the size of the sensor that took a picture.

    Parameters
    ----------
    info : ImageInfo
        Stored size of the picture [px].
    metadata : Metadata
        What the file says about camera, exposure and focal plane.
    wish : str or None
        What the user says: a format's name or ``WxH`` in mm; it wins over all else.

    Returns
    -------
    Sensor
        Size, pitch and where they come from. Width is along the sensor's long side, also for
        a picture whose pixels were turned to portrait.
    tuple of str
        Remarks for people: what was assumed, corrected or left out.

    Raises
    ------
    SettingsError
        If `wish` names no format and is no size.
    """
    if wish is not None:
        size = parse_wish(wish)
        sensor = sensor_of_size(size, info, "given")
        return sensor, crop_notes(size, sensor)
    pitch_um, notes = focal_plane_pitch(info, metadata.hints)
    diagonal_mm = equivalent_diagonal(metadata)
    if pitch_um is not None:
        sensor = sensor_of_pitch(pitch_um, info)
        if diagonal_mm is None or not is_conflict(sensor, diagonal_mm):
            return sensor, (*notes, *_cut_from_format(sensor))
        notes = (CONTRADICTED.format(size=write_size(sensor)),)
    if diagonal_mm is not None:
        sensor, more = sensor_of_diagonal(diagonal_mm, info)
    else:
        sensor, more = _assumed(info)
    return sensor, (*notes, *more)


def geometry_of(info: ImageInfo, sensor: Sensor) -> FrameGeometry:
    """Return the geometry that ties stored pixels to the sensor."""
    return FrameGeometry(
        height_px=info.height_px,
        width_px=info.width_px,
        exif_orientation=info.exif_orientation,
        pitch_um=sensor.pitch_um,
    )


def _cut_from_format(sensor: Sensor) -> tuple[str, ...]:
    """Say so when a sensor found by its pitch is but a part of its format."""
    named = find_format(sensor.format) if sensor.format else None
    return () if named is None else crop_notes(size_of_format(named), sensor)


def _assumed(info: ImageInfo) -> tuple[Sensor, tuple[str, ...]]:
    """Return the sensor a photographer would expect behind a picture of this shape."""
    n_pixels = info.width_px * info.height_px
    if not is_same_shape(info, 4.0, 3.0):
        name = "full frame"
    elif n_pixels <= FOUR_THIRDS_MAX_PX:
        name = "Four Thirds"
    else:
        name = "44x33" if n_pixels <= MEDIUM_FORMAT_MAX_PX else "54x40"
    size = parse_wish(name)
    sensor = sensor_of_size(size, info, "assumed")
    remark = (
        f"The file does not say how large the sensor is: {name}, {write_size(sensor)}, is "
        "assumed from the picture's shape. If that is wrong, so are all positions in mm and "
        "all sizes in um: give --sensor."
    )
    return sensor, (remark, *crop_notes(size, sensor))
