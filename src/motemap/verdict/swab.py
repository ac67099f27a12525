"""Which swab fits the sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.facts.formats import find_format
from motemap.facts.methods import find_swab

if TYPE_CHECKING:
    from motemap.records import Method, Sensor


def swab_line(method: Method, sensor: Sensor) -> str:
    """Say which swab fits: as wide as the sensor's short side (common practice, no source)."""
    head = "Swab size" if method == "wet swab" else "Should a swab be needed later"
    swab = find_swab(sensor.format)
    if swab is not None:
        low_mm, high_mm = swab.width_low_mm, swab.width_high_mm
        width = f"{low_mm:g}" if low_mm == high_mm else f"{low_mm:g}-{high_mm:g}"
        what = f"about {width} mm wide for {sensor.format}; {swab.advice}"
    else:
        side_mm = _short_side(sensor)
        of_side = "" if side_mm is None else f", here about {side_mm:.0f} mm"
        what = f"as wide as the sensor's short side{of_side}"
    doubt = " The format is assumed: look it up first." if sensor.source == "assumed" else ""
    return f"{head}: {what} (common practice).{doubt}"


def _short_side(sensor: Sensor) -> float | None:
    """Return the short side of the whole sensor [mm], also where the picture is a crop."""
    named = find_format(sensor.format) if sensor.format else None
    if named is not None:
        return named.height_mm
    return sensor.height_mm
