"""The f-number series: markings, the numbers behind them, and how they are written."""

import itertools

import pytest

from motemap.facts.stops import DEPTH_AT_LABELS, THIRDS_PER_STOP, f_stops, write_f


def test_series_runs_in_thirds_from_1_to_64() -> None:
    assert [each.thirds for each in f_stops()] == list(range(37))
    assert f_stops()[0].nominal == 1.0
    assert f_stops()[-1].nominal == 64.0


def test_marking_and_exact_number_are_the_same_stop() -> None:
    # The coarsest marking is 1.2 for 1.26; half a third of a stop, 2^(1/12) = 1.0595, would
    # make a marking ambiguous.
    for each in f_stops():
        assert each.nominal / each.exact == pytest.approx(1.0, abs=0.055)


def test_markings_rise_and_are_unique() -> None:
    assert all(one.nominal < two.nominal for one, two in itertools.pairwise(f_stops()))


def test_every_third_setting_is_a_full_stop() -> None:
    full = [each.label for each in f_stops() if each.thirds % THIRDS_PER_STOP == 0]
    assert full == ["1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22", "32", "45", "64"]
    assert set(DEPTH_AT_LABELS) <= set(full)


@pytest.mark.parametrize(
    ("f_number", "written"),
    [(11.0, "f/11"), (5.6, "f/5.6"), (8, "f/8"), (22.627, "f/22.6"), (6.3, "f/6.3")],
)
def test_apertures_are_written_as_people_do(f_number: float, written: str) -> None:
    assert write_f(f_number) == written
