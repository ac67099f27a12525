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


def write_f(f_number: float) -> str:
    """Return an aperture as people write it.

    >>> write_f(11.0), write_f(5.6)
    ('f/11', 'f/5.6')
    """
    return f"f/{f_number:.3g}"
