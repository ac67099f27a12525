"""Sensor formats: nominal sizes by name, and the name that fits a size."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

from motemap.facts.table import read_table, simplify

FULL_FRAME_DIAGONAL_MM: Final = math.hypot(36.0, 24.0)
"""Diagonal of the 36 x 24 mm frame that crop factors and 35 mm equivalents refer to [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFormat:
    """A named format. Its size is nominal: a camera's own metadata knows better."""

    name: str
    aliases: tuple[str, ...]
    width_mm: float
    height_mm: float
    source: str
    tag: str

    @property
    def diagonal_mm(self) -> float:
        """Diagonal of the imaging area [mm]."""
        return math.hypot(self.width_mm, self.height_mm)

    @property
    def area_mm2(self) -> float:
        """Imaging area [mm2]."""
        return self.width_mm * self.height_mm


@cache
def sensor_formats() -> tuple[SensorFormat, ...]:
    """Return all formats, in the order of the table."""
    return tuple(
        SensorFormat(
            name=row["name"],
            aliases=tuple(alias for alias in row["aliases"].split(";") if alias),
            width_mm=float(row["width_mm"]),
            height_mm=float(row["height_mm"]),
            source=row["source"],
            tag=row["tag"],
        )
        for row in read_table("sensor_formats", key=("name",))
    )


@cache
def _by_any_name() -> dict[str, SensorFormat]:
    """Map every simplified name and alias to its format."""
    return {
        simplify(name): format_
        for format_ in sensor_formats()
        for name in (format_.name, *format_.aliases)
    }


def find_format(name: str) -> SensorFormat | None:
    """Return the format called `name`, whatever its case, blanks and hyphens; None if unknown.

    >>> find_format("Full-Frame").width_mm
    36.0
    >>> find_format("aps c").name
    'APS-C'
    """
    return _by_any_name().get(simplify(name))


def nearest_by_diagonal(diagonal_mm: float, *, tolerance_frac: float) -> SensorFormat | None:
    """Return the format whose diagonal is nearest in ratio; None when none is near enough.

    Parameters
    ----------
    diagonal_mm : float
        Diagonal of the imaging area [mm].
    tolerance_frac : float
        Largest difference allowed, as a share of the format's diagonal (0-1).
    """
    best = min(sensor_formats(), key=lambda each: abs(math.log(each.diagonal_mm / diagonal_mm)))
    return best if abs(diagonal_mm / best.diagonal_mm - 1) <= tolerance_frac else None


def format_holding(
    width_mm: float, height_mm: float, *, tolerance_frac: float
) -> SensorFormat | None:
    """Return the format that an imaging area of this size is, or was cropped from.

    The area must fit inside the format and fill at least one of its sides; among several, the
    one filled best wins.

    >>> format_holding(36.0, 20.2, tolerance_frac=0.03).name
    'full frame'
    >>> format_holding(18.0, 12.0, tolerance_frac=0.03) is None
    True
    """
    fits = [
        each
        for each in sensor_formats()
        if max(width_mm / each.width_mm, height_mm / each.height_mm) <= 1 + tolerance_frac
        and max(width_mm / each.width_mm, height_mm / each.height_mm) >= 1 - tolerance_frac
    ]
    return min(
        fits,
        key=lambda each: (
            abs(math.log(width_mm / each.width_mm)) + abs(math.log(height_mm / each.height_mm))
        ),
        default=None,
    )
