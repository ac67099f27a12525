"""The pitch by the focal-plane resolution in the metadata, where it can be believed.

Two things go wrong with it: the unit (inch or centimetre), and programs that resize or crop a
picture and leave the tag as the camera wrote it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.sensor.size import (
    WIDTH_RANGE_MM,
    is_same,
    long_px,
    sensor_of_pitch,
    short_px,
)

if TYPE_CHECKING:
    from motemap.records import ImageInfo, SensorHints

PITCH_RANGE_UM: Final = (1.0, 12.0)
"""Pixel distances outside this range are taken for a wrong unit, unless the sensor that
follows from them is one of the known formats."""

OTHER_PICTURE: Final = (
    "The focal-plane resolution in the metadata belongs to a picture of another shape; it was "
    "left out."
)
NO_FORMAT: Final = (
    "The focal-plane resolution in the metadata would give an impossible sensor; it was left out."
)
RESIZED: Final = (
    "The picture was resized to {share:.0f} % after the camera wrote it; the pixel size was "
    "corrected for that."
)


def focal_plane_pitch(info: ImageInfo, hints: SensorHints) -> tuple[float | None, tuple[str, ...]]:
    """Return the pitch of the stored pixels [um] by the focal-plane resolution.

    Parameters
    ----------
    info : ImageInfo
        Stored size of the picture [px].
    hints : SensorHints
        The resolution, as a pitch, and the pixel counts it was written for.

    Returns
    -------
    float or None
        Pitch [um]; None when the metadata have none that could be true.
    tuple of str
        What was corrected or left out, for people.
    """
    stated_um = hints.focal_plane_pitch_um
    down_um = hints.focal_plane_pitch_y_um or stated_um
    if not stated_um or not down_um or not is_same(stated_um, down_um):
        return None, ()
    scale = _shrinkage(info, (hints.focal_plane_width_px, hints.focal_plane_height_px))
    if scale is None:
        return None, (OTHER_PICTURE,)
    pitch_um = stated_um * scale
    sensor = sensor_of_pitch(pitch_um, info)
    if sensor.format is not None:
        return pitch_um, () if scale == 1 else (RESIZED.format(share=100 / scale),)
    low_um, high_um = PITCH_RANGE_UM
    low_mm, high_mm = WIDTH_RANGE_MM
    is_possible = low_um <= stated_um <= high_um and low_mm <= (sensor.width_mm or 0.0) <= high_mm
    if scale != 1 or not is_possible:
        return None, (NO_FORMAT,)
    return pitch_um, ()


def _shrinkage(info: ImageInfo, counts_px: tuple[int | None, int | None]) -> float | None:
    """Return pixels of the camera's picture per stored pixel; None when the shape changed.

    Exactly 1 when the tag's counts are those of the file, or absent.
    """
    known_px = sorted((count for count in counts_px if count), reverse=True)
    if not known_px:
        return 1.0
    stored_px = (long_px(info), short_px(info))
    scales = [known / stored for known, stored in zip(known_px, stored_px, strict=False)]
    if all(is_same(scale, 1.0) for scale in scales):
        return 1.0
    return scales[0] if is_same(scales[0], scales[-1]) else None
