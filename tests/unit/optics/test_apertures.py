"""Engraved f-numbers against the exact series."""

import pytest

from motemap.optics.apertures import REPORTED_STOPS, THIRD_STOPS, exact_stop, stop_name


def test_every_engraved_number_lies_within_a_twelfth_of_a_stop_of_the_exact_one() -> None:
    # The exact series is 2^(k/6) (ISO 517); f/1.2 and f/3.5 are rounded worst.
    for third, engraved in enumerate(THIRD_STOPS):
        assert engraved == pytest.approx(exact_stop(third), rel=0.05), third


def test_reported_stops_are_engraved_ones() -> None:
    assert set(REPORTED_STOPS) <= set(THIRD_STOPS)
    assert [stop_name(stop) for stop in REPORTED_STOPS] == [
        "2.8",
        "4",
        "5.6",
        "8",
        "11",
        "16",
        "22",
    ]
