"""The f-numbers engraved on lenses, in thirds of a stop."""

from __future__ import annotations

from motemap.facts.stops import DEPTH_AT_LABELS

THIRD_STOPS: tuple[float, ...] = (
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6,
    6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0,
)  # fmt: skip
"""Marked f-numbers from f/1 to f/32 in thirds of a stop.

The exact series is ``2 ** (k / 6)`` (ISO 517); the rounding of the thirds is common
practice, no source. All of this package reckons with the marked number.
"""

REPORTED_STOPS: tuple[float, ...] = tuple(float(label) for label in DEPTH_AT_LABELS)
"""The full stops a report forecasts for."""


def stop_name(f_number: float) -> str:
    """Return a f-number as engraved, without the ``f/``.

    >>> stop_name(8.0), stop_name(5.6)
    ('8', '5.6')
    """
    return f"{f_number:g}"
