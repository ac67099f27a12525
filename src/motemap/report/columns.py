"""The numbers of many marks rounded at once, to the same digits as `rounding` gives one by one.

Formatting and reading back a number takes a microsecond, and a mark has twenty.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from motemap.report.rounding import (
    POSITION_DECIMALS,
    SIGNIFICANT_DIGITS,
    decimals,
    finite,
    significant,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

TENS: Final = np.array([float(f"1e{power}") for power in range(23)])
"""Powers of ten that a double holds exactly: what is multiplied or divided by one is rounded once."""
LARGEST: Final = 1e9
SMALLEST: Final = 1e-9
DOUBT: Final = 1e-3
"""A number so near the middle between two roundings is looked at by itself."""


def significants(values: Sequence[float | None]) -> list[float | None]:
    """Round to significant digits; None for what is no number."""
    asked = np.array(values, np.float64)
    size = np.abs(asked)
    is_plain = (size >= SMALLEST) & (size <= LARGEST)
    power = np.floor(np.log10(np.where(is_plain, size, 1.0))).astype(np.intp)
    return _rounded(
        values, np.where(is_plain, asked, np.nan), SIGNIFICANT_DIGITS - 1 - power, significant
    )


def positions(values: Sequence[float | None]) -> list[float | None]:
    """Round to the decimals of positions; None for what is no number."""
    asked = np.array(values, np.float64)
    is_plain = np.abs(asked) <= LARGEST / TENS[POSITION_DECIMALS]
    power = np.full(len(values), POSITION_DECIMALS)
    return _rounded(values, np.where(is_plain, asked, np.nan), power, decimals)


def _rounded(
    values: Sequence[float | None],
    plain: NDArray[np.float64],
    n_decimals: NDArray[np.intp],
    one_by_one: Callable[[float], float],
) -> list[float | None]:
    """Round to decimals, fewer than none too; what is not plain, or in doubt, one by one."""
    scale = TENS[np.abs(n_decimals)]
    is_fraction = n_decimals >= 0
    steps = np.where(is_fraction, plain * scale, plain / scale)
    whole = np.rint(steps)
    # Both are exact, so this is the double nearest to the decimal number.
    rounded: list[float | None] = np.where(is_fraction, whole / scale, whole * scale).tolist()
    is_clear = np.abs(np.abs(steps - whole) - 0.5) > DOUBT
    for place in np.flatnonzero(~is_clear | (whole == 0)).tolist():
        value = finite(values[place])
        rounded[place] = None if value is None else one_by_one(value)
    return rounded
