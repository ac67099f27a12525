"""How many digits a report gives: no more than mean something, the same on every run."""

import math

SIGNIFICANT_DIGITS = 4
"""Of depths, sizes and the like, whose errors are a few per cent."""

POSITION_DECIMALS = 3
"""Of positions in px and mm: a thousandth of a pixel, a micrometre on the sensor."""


def significant(value: float, digits: int = SIGNIFICANT_DIGITS) -> float:
    """Return `value` to a number of significant digits.

    >>> significant(0.0123456)
    0.01235
    """
    return float(f"{value:.{digits}g}") + 0.0  # no negative zero


def decimals(value: float, n_decimals: int = POSITION_DECIMALS) -> float:
    """Return `value` to a number of decimals.

    >>> decimals(-0.0001)
    0.0
    """
    return round(float(value), n_decimals) + 0.0  # no negative zero


def finite(value: float | None) -> float | None:
    """Return None for what is no number: JSON has no word for it, and neither has a person."""
    return value if value is not None and math.isfinite(value) else None
