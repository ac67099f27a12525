"""Which marks show, which are numbered, and how large they are drawn."""

import itertools
import math

import pytest

from motemap.report.pictures.glyphs import fibre
from motemap.report.pictures.marks import (
    LARGEST_COVER,
    MAGNIFICATIONS,
    N_NUMBERED,
    magnification_for,
    marks_for,
    numbered_ids,
)
from motemap.report.pictures.plate import plate_for
from motemap.report.pictures.scene import Trace
from motemap.report.pictures.view import FACING
from motemap.settings import WorkSettings
from motemap.showing import worst_first
from picturing.bench import FULL_FRAME, dusty, mark, numbered, report

WORK = WorkSettings(shoot_at_f=11.0)


def test_sizes_drawn_are_in_the_proportion_of_the_particles() -> None:
    frame = report(numbered([mark(10, 10, 40), mark(20, 10, 80), mark(30, 10, 120)]))
    small, middle, large = sorted(
        marks_for(frame, plate_for(frame, FACING), WORK), key=lambda each: each.radius
    )
    assert middle.radius / small.radius == pytest.approx(2.0)
    assert large.radius / small.radius == pytest.approx(3.0)


def test_magnification_is_told_truly() -> None:
    frame = report(numbered([mark(10, 10, 100)]))
    plate = plate_for(frame, FACING)
    (drawn,) = marks_for(frame, plate, WORK)
    # Scene units are micrometres: a disc of 100 um drawn M times its size has a radius of 50 M.
    assert drawn.radius == pytest.approx(50 * magnification_for(frame.spots, plate))


@pytest.mark.parametrize("n_spots", [1, 12, 60, 700])
def test_marks_leave_most_of_the_plate_free(n_spots: int) -> None:
    frame = dusty(n_spots)
    plate = plate_for(frame, FACING)
    magnification = magnification_for(frame.spots, plate)
    assert magnification in MAGNIFICATIONS
    cover = sum(
        (spot.particle_um or 0.0) ** 2 * magnification**2
        for spot in frame.spots
        if spot.kind == "speck" and spot.layer == "filter stack"
    )
    assert cover <= LARGEST_COVER * plate.width * plate.height


def test_the_worst_on_the_sensor_are_numbered_and_the_lens_is_left_out() -> None:
    frame = dusty(60)
    ids = numbered_ids(frame.spots, WORK)
    lens = {spot.id for spot in frame.spots if spot.layer == "lens side"}
    assert len(ids) == N_NUMBERED
    assert not ids & lens
    ranked = [spot.id for spot in worst_first(frame.spots, WORK) if spot.id not in lens]
    assert ids == set(ranked[:N_NUMBERED])


def test_what_shows_comes_before_deeper_marks_that_do_not() -> None:
    # A fibre fades more slowly than a speck: less deep in the test shot, it shows first.
    fibre = mark(10, 10, 4.0, kind="fibre", length_um=500.0)
    speck = mark(20, 10, 24.0)
    frame = report(numbered([fibre, speck]))
    assert [spot.kind for spot in frame.spots] == ["speck", "fibre"]
    ranked = worst_first(frame.spots, WorkSettings(shoot_at_f=6.3))
    assert [spot.kind for spot in ranked] == ["fibre", "speck"]


def test_a_smear_is_drawn_at_its_own_size() -> None:
    smear = mark(10, 10, 300, kind="smear", width_um=700.0, length_um=2600.0)
    frame = report(numbered([smear, mark(20, 10, 20)]))
    drawn = next(
        each
        for each in marks_for(frame, plate_for(frame, FACING), WORK)
        if each.spot.kind == "smear"
    )
    assert (drawn.radius, drawn.half_height) == (1300.0, 350.0)


def test_the_smallest_sign_can_still_be_seen() -> None:
    frame = report(numbered([mark(10, 10, 3)]))
    plate = plate_for(frame, FACING)
    (drawn,) = marks_for(frame, plate, WORK)
    # Printed 200 mm wide, the sensor is 5.6 times its size: 0.15 mm drawn are 0.8 mm on paper.
    assert 2 * drawn.radius * 200 / (FULL_FRAME.width_mm * 1000) > 0.8


def test_a_fibre_is_as_long_along_its_curl_as_it_is_and_flat_at_the_edge() -> None:
    inside = mark(18, 12, 10, kind="fibre", length_um=900.0)
    at_edge = mark(18, 0.3, 10, kind="fibre", length_um=900.0)
    frame = report(numbered([inside, at_edge]))
    plate = plate_for(frame, FACING)
    magnification = magnification_for(frame.spots, plate)
    drawn = {each.spot.from_top_mm: each for each in marks_for(frame, plate, WORK)}
    line = fibre(
        drawn[12].at, (drawn[12].radius, drawn[12].half_height), 1.0, plate.unit, is_shown=True
    )
    assert isinstance(line, Trace)
    along = sum(math.dist(one, other) for one, other in itertools.pairwise(line.points))
    # Forty steps cut the waves' corners by a per cent or two.
    assert along == pytest.approx(900 * magnification, rel=0.03)
    assert drawn[0.3].half_height <= max(300, 0.5 * plate.unit)
