from dataclasses import replace

import numpy as np
import pytest

from motemap.pipeline.tally import tally_up, with_tallies
from motemap.records import FrameReport, Sensitivity
from motemap.settings import WorkSettings
from motemap.tallies import ApertureTally
from reporting.builders import faint, frame, in_order, spot

WORK = WorkSettings()
STOPS = (2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0)


def counts(report: FrameReport) -> list[int | None]:
    return [tally.n_showing for tally in report.forecast]


def test_each_full_stop_has_a_row() -> None:
    tallied = with_tallies(frame(), WORK)
    assert tuple(tally.f_number for tally in tallied.forecast) == STOPS
    # The one mark takes 2.4 % at f/8 and 1.1 % at f/5.6; the faint one 1 % at f/22.
    assert counts(tallied) == [0, 0, 0, 1, 1, 1, 1]
    assert tallied.forecast[4] == ApertureTally(
        f_number=11.0, n_showing=1, worst=(1,), worst_depth_frac=(0.05,)
    )


def test_the_depth_from_which_on_a_mark_shows_counts() -> None:
    strict = WorkSettings(show_depth_frac=0.009)
    assert counts(with_tallies(frame(), strict)) == [0, 0, 1, 1, 1, 1, 2]


def test_the_row_of_the_working_aperture_is_what_the_verdict_counts() -> None:
    report = frame()
    rows = with_tallies(report, WORK).forecast
    (n_showing,) = (row.n_showing for row in rows if row.f_number == WORK.shoot_at_f)
    assert n_showing == report.counts.showing


def test_the_worst_come_first_and_are_few() -> None:
    deeper = {"depth_at": {"11": 0.4}, "depth_frac": 0.05}
    spots = in_order([spot(1) for _ in range(4)] + [spot(1, **deeper)])
    tally = with_tallies(frame(spots=spots), WORK).forecast[4]
    assert (tally.n_showing, tally.worst) == (5, (5, 1, 2))
    assert tally.worst_depth_frac == (0.4, 0.05, 0.05)


def test_the_lens_side_is_left_out() -> None:
    tallied = with_tallies(frame(spots=(spot(1, layer="lens side"),)), WORK)
    assert counts(tallied) == [0] * len(STOPS)


def test_marks_without_a_forecast_are_counted_apart() -> None:
    unknown = {"depth_at": None, "shows_from_f": None}
    some = with_tallies(frame(spots=(spot(1), faint(2, **unknown))), WORK)
    assert (some.forecast[4].n_showing, some.forecast[4].n_unknown) == (1, 1)
    none = with_tallies(frame(spots=(spot(1, **unknown),)), WORK)
    assert counts(none) == [None] * len(STOPS)
    assert {tally.n_unknown for tally in none.forecast} == {1}


@pytest.mark.parametrize(("f_number", "n_showing"), [(6.3, 0), (7.1, 1), (22.0, 1)])
def test_with_a_viewing_the_eye_decides(f_number: float, n_showing: int) -> None:
    seen = WorkSettings(view="screen at 100 %")
    report = frame(spots=(spot(1, shows_from_f=7.1), faint(2)))
    depths_frac = np.array([[0.001, 0.5]])
    (tally,) = tally_up([f_number], report, depths_frac, np.array([7.1, np.nan]), seen)
    assert (tally.n_showing, tally.worst) == (n_showing, (1,) * n_showing)


def test_how_dirty_it_is_comes_with_it() -> None:
    dirt = with_tallies(frame(), WORK).cleanliness
    assert dirt is not None
    # Two marks of 1000 um2 on 36 x 24 mm; the one of 36 um is larger than 20 um.
    assert dirt.covered_frac == pytest.approx(2 * 1000 / (36e3 * 24e3))
    assert (dirt.n_particles, dirt.is_upper_bound) == (1, False)


def test_a_frame_that_was_not_searched_has_neither() -> None:
    spoilt = replace(frame(spots=()), sensitivity=Sensitivity(), forecast=(), cleanliness=None)
    assert with_tallies(spoilt, WORK) == spoilt


def test_an_unknown_sensor_leaves_how_dirty_unknown() -> None:
    assert with_tallies(frame(sensor=None, cleanliness=None), WORK).cleanliness is None
