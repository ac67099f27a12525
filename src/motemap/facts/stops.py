"""The f-number series: what is engraved, and the number behind it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

from motemap.facts.table import read_table

THIRDS_PER_STOP: Final = 3
THIRDS_PER_DOUBLING: Final = 2 * THIRDS_PER_STOP
"""Two stops, so four times the light, double the f-number."""

DEPTH_AT_LABELS: Final = ("2.8", "4", "5.6", "8", "11", "16", "22")
"""Full stops for which a report forecasts the depth of a mark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FStop:
    """One setting of the aperture ring, counted in thirds of a stop from f/1."""

    nominal: float
    thirds: int
    source: str
    tag: str

    @property
    def exact(self) -> float:
        """The number the marking stands for: f/22 is 22.63."""
        return math.pow(2.0, self.thirds / THIRDS_PER_DOUBLING)

    @property
    def label(self) -> str:
        """The marking without the f: "5.6", "11"."""
        return f"{self.nominal:g}"


@cache
def f_stops() -> tuple[FStop, ...]:
    """Return all settings from f/1 to f/64, widest first."""
    return tuple(
        FStop(
            nominal=float(row["nominal"]),
            thirds=int(row["thirds"]),
            source=row["source"],
            tag=row["tag"],
        )
        for row in read_table("f_stops", key=("nominal",))
    )


def nearest_stop(f_number: float) -> FStop:
    """Return the setting nearest to `f_number` in stops.

    >>> nearest_stop(22.63).label, nearest_stop(6.5).label
    ('22', '6.3')
    """
    return min(f_stops(), key=lambda each: abs(math.log(each.exact / f_number)))


def exact_f(f_number: float) -> float:
    """Return the exact number when `f_number` is a marking, else `f_number` itself.

    >>> round(exact_f(11), 3), exact_f(10.7)
    (11.314, 10.7)
    """
    for each in f_stops():
        if math.isclose(each.nominal, f_number):
            return each.exact
    return f_number


def write_f(f_number: float) -> str:
    """Return an aperture as people write it.

    >>> write_f(11.0), write_f(5.6)
    ('f/11', 'f/5.6')
    """
    return f"f/{f_number:.3g}"
