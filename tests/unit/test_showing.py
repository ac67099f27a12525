"""What shows is decided in one place, by the depth at exactly the aperture asked for."""

import math
from dataclasses import replace

import numpy as np
import pytest

from motemap.records import FrameReport
from motemap.settings import WorkSettings
from motemap.showing import (
    aperture_words,
    as_seen,
    can_forecast,
    condition_words,
    depth_of,
    is_seen,
    order_words,
    shows,
    shows_on_sensor,
    worst_first,
)
from reporting.builders import DEPTHS, EXPOSURE, faint, frame, ready, reshoot, spot, unreadable

EYE = WorkSettings(view="screen at 100 %")
UNKNOWN = {"depth_at": None, "shows_from_f": None}


def at(f_number: float) -> WorkSettings:
    return WorkSettings(shoot_at_f=f_number)


@pytest.mark.parametrize(
    ("shoot_at_f", "expected"), [(5.6, False), (8.0, True), (7.1, False), (9.0, True)]
)
def test_what_shows_depends_on_the_working_aperture(shoot_at_f: float, *, expected: bool) -> None:
    assert shows(spot(1), at(shoot_at_f)) is expected


def test_a_spot_that_shows_nowhere() -> None:
    assert not shows(faint(1), WorkSettings())


def test_without_a_forecast_the_depth_in_the_shot_stands_in() -> None:
    assert shows(spot(1, depth_frac=0.02, **UNKNOWN), WorkSettings())
    assert not shows(spot(1, depth_frac=0.019, **UNKNOWN), WorkSettings())
    assert shows(spot(1, depth_frac=0.02, **UNKNOWN), EYE)


def test_the_depth_at_the_very_aperture_counts_and_not_that_of_a_neighbour() -> None:
    own = {**DEPTHS, "7.5": 0.0201}
    # From f/8 on by engraved stops, but at f/7.5 it is deep enough already.
    assert shows(spot(1, depth_at=own, shows_from_f=8.0), at(7.5))
    own["7.5"] = 0.0199
    assert not shows(spot(1, depth_at=own, shows_from_f=7.1), at(7.5))


def test_between_known_apertures_depth_is_read_off_by_the_slope_of_the_logarithms() -> None:
    # As small specks do: four times as deep at twice the f-number.
    mark = spot(1, depth_at={"4": 0.01, "8": 0.04, "16": 0.16})
    for f_number in (4.0, 5.0, 9.5, 13.5):
        assert depth_of(mark, f_number) == pytest.approx(0.01 * (f_number / 4) ** 2)
    assert depth_of(mark, 2.0) == pytest.approx(0.0025)
    assert depth_of(mark, 60.0) == 1.0
    assert depth_of(spot(1, depth_at={"8": 0.04}), 11.0) == pytest.approx(0.04)
    assert depth_of(spot(1, depth_at={"8": 0.0}), 11.0) == 0.0


def test_columns_and_single_marks_are_decided_alike() -> None:
    depths, seen_from = np.array([0.019, 0.02, np.nan]), np.array([8.0, np.nan, 16.0])
    for work in (at(11.0), WorkSettings(view=EYE.view, shoot_at_f=11.0)):
        together = np.array(is_seen(depths, seen_from, 11.0, work))
        for row, (depth, seen) in enumerate(zip(depths.tolist(), seen_from.tolist(), strict=True)):
            assert together[row] == is_seen(float(depth), float(seen), 11.0, work)
    assert is_seen(0.0, 8.0, 11.0, EYE)
    assert not is_seen(1.0, math.nan, 11.0, EYE)


def test_lens_dust_shows_but_not_on_the_sensor() -> None:
    dust = spot(1, layer="lens side")
    assert shows(dust, WorkSettings())
    assert not shows_on_sensor(dust, WorkSettings())
    assert shows_on_sensor(spot(1, layer="inside"), WorkSettings())


def test_the_worst_is_deepest_at_the_aperture_asked_for() -> None:
    speck = spot(1, depth_frac=0.8, depth_at={"4": 0.03, "22": 0.8})
    fibre = spot(2, depth_frac=0.2, depth_at={"4": 0.1, "22": 0.2}, kind="fibre")
    lens = spot(3, depth_frac=0.1, depth_at={"4": 0.09, "22": 0.1}, layer="lens side")
    hidden = spot(4, depth_frac=0.09, depth_at={"4": 0.001, "22": 0.09})
    ranked = worst_first([hidden, lens, speck, fibre], at(4.0))
    assert [each.id for each in ranked] == [2, 1, 3, 4]
    assert worst_first([speck, fibre], at(22.0))[0].id == 1


def test_the_words_say_how_the_worst_first_lie() -> None:
    deep, flat = spot(1), faint(2)
    lens = spot(3, depth_at={**DEPTHS, "11": 0.9}, layer="lens side")
    assert order_words([], at(11.0), has_forecast=True) == "deepest at f/11 first"
    assert order_words([flat, deep], at(11.0), has_forecast=True) == "deepest at f/11 first"
    words = order_words([flat, lens, deep], at(11.0), has_forecast=True)
    assert words == (
        "what shows on the sensor first, then what shows of the lens, then the rest, of each the "
        "deepest at f/11 first"
    )
    # An eye sees wide marks sooner than narrow ones that are deeper.
    narrow = spot(4, depth_at={**DEPTHS, "11": 0.06}, shows_from_f=None)
    words = order_words([narrow, deep], EYE, has_forecast=True)
    assert words.startswith("what shows on the sensor first, then the rest, of each the deepest")


@pytest.mark.parametrize(
    ("report", "expected"),
    [
        (frame(), True),
        (frame(spots=(spot(1), faint(2, **UNKNOWN))), True),
        (frame(spots=(spot(1, **UNKNOWN), faint(2, **UNKNOWN))), False),
        (ready(), True),
        # Without a mark the aperture and the pixels say what would have shown.
        (ready(exposure=replace(EXPOSURE, f_number=None)), False),
        (ready(sensor=None), False),
        (reshoot(), False),
        (reshoot(spots=(spot(1),)), False),
        (unreadable(), False),
    ],
)
def test_whether_a_frame_tells_of_other_apertures(report: FrameReport, *, expected: bool) -> None:
    assert can_forecast(report) is expected


def test_words_follow_what_is_known() -> None:
    assert aperture_words(EYE, has_forecast=False) == "the aperture of this shot"
    assert condition_words(EYE, has_forecast=False) == "taking 2 % of the light or more"
    assert aperture_words(EYE, has_forecast=True) == "f/11"
    assert condition_words(EYE, has_forecast=True) == "seen on a screen at 100 %"


def test_what_was_seen_and_not_judged_has_no_forecast() -> None:
    (seen,) = as_seen([spot(1)])
    assert (seen.depth_at, seen.shows_from_f) == (None, None)
    assert replace(seen, depth_at=spot(1).depth_at, shows_from_f=spot(1).shows_from_f) == spot(1)
