"""The sRGB curve against its standard.

Source: IEC 61966-2-1:1999, section 5.2: the formula, from which the values below were computed
with 50 digits by hand of `decimal`, independent of the code under test. Code 118 is where
ISO 12232 puts 18 % grey.
"""

from decimal import Decimal, getcontext

import numpy as np
import pytest

from motemap.load.readers.curves import srgb_light

pytestmark = pytest.mark.external

PUBLISHED = {
    0: 0.0,
    1: 0.000304,
    10: 0.003035,
    11: 0.003347,
    64: 0.051269,
    118: 0.181164,
    128: 0.215861,
    188: 0.502886,
    200: 0.577580,
    240: 0.871367,
    255: 1.0,
}


def by_standard(code: int) -> float:
    """Return the light of an 8-bit code by the standard's formula, in decimal arithmetic."""
    getcontext().prec = 50
    value = Decimal(code) / 255
    if value <= Decimal("0.04045"):
        return float(value / Decimal("12.92"))
    base = (value + Decimal("0.055")) / Decimal("1.055")
    return float((base.ln() * Decimal("2.4")).exp())


@pytest.mark.parametrize(("code", "light"), PUBLISHED.items())
def test_values_of_the_standard(code: int, light: float) -> None:
    # Listed to six digits.
    assert float(srgb_light(np.array(code / 255))) == pytest.approx(light, abs=5e-7)


def test_every_code_by_the_formula() -> None:
    codes = np.arange(256)
    expected = [by_standard(int(code)) for code in codes]
    # Double precision; a power costs a few units in the last place.
    np.testing.assert_allclose(srgb_light(codes / 255), expected, rtol=1e-13)
