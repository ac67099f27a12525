"""The f-number series against standards.

Sources: ISO 517:2008 (series of full stops, exact 2^(k/2); its scope was read, its numbers are
from memory); CIPA DC-008 (Exif), ApertureValue = 2 log2 N; ISO 3:1973, series R20 of preferred
numbers, from memory: a third of a stop, 2^(1/6) = 1.1225, is a step of R20, 10^(1/20) = 1.1220.
"""

import math

import pytest

from motemap.facts.stops import THIRDS_PER_STOP, f_stops

pytestmark = pytest.mark.external

EXACT_FULL_STOPS = [1, 1.414, 2, 2.828, 4, 5.657, 8, 11.314, 16, 22.627, 32, 45.255]

APEX_OF_MARKING = {
    # ApertureValue of the number as marked.
    1.4: 0.971,
    2.0: 2.0,
    2.8: 2.971,
    5.6: 4.971,
    8.0: 6.0,
    11.0: 6.919,
    16.0: 8.0,
    22.0: 8.919,
}

R20 = [1.00, 1.12, 1.25, 1.40, 1.60, 1.80, 2.00, 2.24, 2.50, 2.80]
R20 += [3.15, 3.55, 4.00, 4.50, 5.00, 5.60, 6.30, 7.10, 8.00, 9.00]


def test_full_stops_are_the_iso_517_series() -> None:
    exact = [each.exact for each in f_stops() if each.thirds % THIRDS_PER_STOP == 0]
    assert exact[:-1] == pytest.approx(EXACT_FULL_STOPS, abs=5e-4)


def test_thirds_between_f16_and_f22() -> None:
    by_label = {each.label: each.exact for each in f_stops()}
    thirds = [by_label[label] for label in ("16", "18", "20", "22")]
    assert thirds == pytest.approx([16.0, 17.96, 20.16, 22.63], abs=5e-3)


@pytest.mark.parametrize("marking", APEX_OF_MARKING)
def test_apex_value_of_marking_and_of_exact_number(marking: float) -> None:
    assert 2 * math.log2(marking) == pytest.approx(APEX_OF_MARKING[marking], abs=6e-4)
    # The exact number of a full stop has a whole ApertureValue.
    (exact,) = (each.exact for each in f_stops() if each.nominal == marking)
    apex = 2 * math.log2(exact)
    assert apex == pytest.approx(round(APEX_OF_MARKING[marking]), abs=1e-9)


@pytest.mark.parametrize("apex", [3, 5, 7, 9])
def test_whole_apex_values_are_full_stops(apex: int) -> None:
    assert math.pow(2, apex / 2) == pytest.approx(f_stops()[3 * apex].exact)


def test_markings_follow_the_preferred_numbers_r20() -> None:
    # Markings of two digits, and 11 and 22 by custom, stray up to 4 % from R20 (1.2 for 1.25,
    # 13 for 12.5).
    for each in f_stops():
        decade, step = divmod(each.thirds, len(R20))
        preferred = R20[step] * 10**decade
        assert each.nominal == pytest.approx(preferred, rel=0.041)
        # The two series drift apart by 0.05 % a step; preferred numbers are rounded to 1 %.
        assert each.exact == pytest.approx(preferred, rel=0.025)
