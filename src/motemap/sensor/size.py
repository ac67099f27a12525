"""Sizes of imaging areas: stated by the user, laid under a picture, written for people."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.coords import MM_PER_UM
from motemap.errors import SettingsError
from motemap.facts.formats import SensorFormat, find_format, format_holding, sensor_formats
from motemap.records import Sensor

if TYPE_CHECKING:
    from motemap.records import ImageInfo, SensorSource

WIDTH_RANGE_MM: Final = (4.0, 60.0)
"""Imaging areas outside this width are taken for an error: phones below, plate cameras above."""

NARROWEST_SHAPE: Final = 4.0
"""Largest ratio of long to short side a user may state; panoramic backs reach 3."""

SIZE_TOLERANCE_FRAC: Final = 0.03
"""Pixel counts or sides that differ by less are the same: raw files show a few pixels more
than the tag says, and sensors of one nominal format differ by one or two per cent. The shapes
3:2 and 4:3 differ by an eighth."""

_WXH: Final = re.compile(r"(\d+(?:[.,]\d+)?)(?:mm)?[x*](\d+(?:[.,]\d+)?)(?:mm)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSize:
    """Size of an imaging area [mm], long side first, and the format's name if it has one."""

    format: str | None
    width_mm: float
    height_mm: float


def parse_wish(wish: str) -> SensorSize:
    """Return the size meant by a format's name or by ``WxH`` in millimetres.

    Raises
    ------
    SettingsError
        If it is neither, or a size no camera has.

    >>> parse_wish("Full Frame")
    SensorSize(format='full frame', width_mm=36.0, height_mm=24.0)
    >>> parse_wish("23.6 x 15.7")
    SensorSize(format='APS-C', width_mm=23.6, height_mm=15.7)
    """
    named = find_format(wish)
    if named is not None:
        return size_of_format(named)
    written = "".join(wish.casefold().split()).replace("\u00d7", "x")
    sides = _WXH.fullmatch(written)
    if sides is None:
        names = ", ".join(each.name for each in sensor_formats())
        raise SettingsError(
            f"'{wish}' is neither a sensor format nor a size.",
            repair=f"Use {names}, or width x height in mm such as 36x24.",
        )
    short_mm, long_mm = sorted(float(side.replace(",", ".")) for side in sides.groups())
    low_mm, high_mm = WIDTH_RANGE_MM
    if not (low_mm <= long_mm <= high_mm and short_mm * NARROWEST_SHAPE >= long_mm):
        raise SettingsError(
            f"A sensor of {long_mm:g} x {short_mm:g} mm is out of range.",
            repair=f"Give width x height in mm, the long side {low_mm:g} to {high_mm:g} mm.",
        )
    return SensorSize(format=_name_of(long_mm, short_mm), width_mm=long_mm, height_mm=short_mm)


def _name_of(width_mm: float, height_mm: float) -> str | None:
    """Return the format that has this size, whole; None when there is none."""
    held = format_holding(width_mm, height_mm, tolerance_frac=SIZE_TOLERANCE_FRAC)
    if held is None or not is_same(width_mm / height_mm, held.width_mm / held.height_mm):
        return None
    return held.name


def size_of_format(named: SensorFormat) -> SensorSize:
    """Return the nominal size of a format."""
    return SensorSize(format=named.name, width_mm=named.width_mm, height_mm=named.height_mm)


def sensor_of_size(size: SensorSize, info: ImageInfo, source: SensorSource) -> Sensor:
    """Lay a picture on a sensor: on the whole of it, or as the largest crop of its shape."""
    across_um = size.width_mm / long_px(info) / MM_PER_UM
    down_um = size.height_mm / short_px(info) / MM_PER_UM
    is_whole = is_same_shape(info, size.width_mm, size.height_mm)
    pitch_um = across_um if is_whole else min(across_um, down_um)
    return _sensor(size.format, pitch_um, info, source)


def sensor_of_pitch(pitch_um: float, info: ImageInfo) -> Sensor:
    """Return the sensor that follows from the pitch alone; its format is only a name."""
    width_mm, height_mm = (
        count * pitch_um * MM_PER_UM for count in (long_px(info), short_px(info))
    )
    held = format_holding(width_mm, height_mm, tolerance_frac=SIZE_TOLERANCE_FRAC)
    return _sensor(held.name if held else None, pitch_um, info, "metadata")


def _sensor(name: str | None, pitch_um: float, info: ImageInfo, source: SensorSource) -> Sensor:
    """Return a sensor whose size is exactly that of the picture's pixels."""
    return Sensor(
        format=name,
        width_mm=long_px(info) * pitch_um * MM_PER_UM,
        height_mm=short_px(info) * pitch_um * MM_PER_UM,
        pitch_um=pitch_um,
        source=source,
    )


def crop_notes(size: SensorSize, sensor: Sensor) -> tuple[str, ...]:
    """Say so when the picture's shape cannot cover the whole sensor."""
    covered = (sensor.width_mm or 0.0, sensor.height_mm or 0.0)
    if is_same(covered[0], size.width_mm) and is_same(covered[1], size.height_mm):
        return ()
    left_out_mm = max(size.width_mm - covered[0], size.height_mm - covered[1])
    remark = (
        f"The picture's shape covers only {write_size(sensor)} of a sensor of "
        f"{size.width_mm:.1f} x {size.height_mm:.1f} mm: distances are from the edges of the "
        "picture, not of the sensor. Where the camera cut it from the middle, as is usual, its cut "
        f"edges lie {left_out_mm / 2:.1f} mm inside those of the sensor."
    )
    return (remark,)


def write_size(sensor: Sensor) -> str:
    """Return the size of a sensor as people write it."""
    return f"{sensor.width_mm or 0.0:.1f} x {sensor.height_mm or 0.0:.1f} mm"


def is_same(one: float, other: float) -> bool:
    """Whether two sizes agree as well as nominal sizes do."""
    return math.isclose(one, other, rel_tol=SIZE_TOLERANCE_FRAC)


def is_same_shape(info: ImageInfo, width: float, height: float) -> bool:
    """Whether the picture, held sideways, has the aspect ratio ``width / height``."""
    return is_same(long_px(info) * height, short_px(info) * width)


def long_px(info: ImageInfo) -> int:
    """Return the longer side of the stored picture [px]."""
    return max(info.width_px, info.height_px)


def short_px(info: ImageInfo) -> int:
    """Return the shorter side of the stored picture [px]."""
    return min(info.width_px, info.height_px)
