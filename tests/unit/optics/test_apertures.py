"""Engraved f-numbers against the table of them."""

from motemap.facts.stops import DEPTH_AT_LABELS, f_stops
from motemap.optics.apertures import REPORTED_STOPS, THIRD_STOPS, stop_name


def test_the_series_is_that_of_the_table() -> None:
    assert tuple(each.nominal for each in f_stops() if each.nominal <= 32.0) == THIRD_STOPS


def test_reported_stops_are_engraved_ones() -> None:
    assert set(REPORTED_STOPS) <= set(THIRD_STOPS)
    assert tuple(stop_name(stop) for stop in REPORTED_STOPS) == DEPTH_AT_LABELS
