"""Numbers beside marks: none over another, none off the sensor, none far away without need."""

import itertools
import math

import pytest

from motemap.place import HOLDS, Hold
from motemap.report.pictures.labels import Flag, mark_reach, place_flags
from motemap.report.pictures.marks import marks_for
from motemap.report.pictures.plate import plate_for
from motemap.report.pictures.scene import Point
from motemap.report.pictures.sensor_map import NUMBER_UNITS, PAGE_NUMBER_UNITS
from motemap.settings import WorkSettings
from picturing.bench import FULL_FRAME, MEDIUM, SMALL, Chip, dusty

CASES = [
    (1, FULL_FRAME, HOLDS[0]),
    (12, FULL_FRAME, HOLDS[2]),
    (60, SMALL, HOLDS[4]),
    (60, MEDIUM, HOLDS[6]),
    (700, FULL_FRAME, HOLDS[0]),
]


def hits_circle(flag: Flag, centre: Point, radius: float) -> bool:
    """Whether a circle reaches into the box of a number."""
    aside = max(abs(centre[0] - flag.centre[0]) - flag.half_width, 0.0)
    below = max(abs(centre[1] - flag.centre[1]) - flag.half_height, 0.0)
    return math.hypot(aside, below) < radius


@pytest.mark.parametrize(("n_spots", "chip", "hold"), CASES)
@pytest.mark.parametrize("type_units", [NUMBER_UNITS, PAGE_NUMBER_UNITS])
def test_numbers_keep_clear_of_one_another_and_of_the_edge(
    n_spots: int, chip: Chip, hold: Hold, type_units: float
) -> None:
    frame = dusty(n_spots, chip=chip)
    plate = plate_for(frame, hold)
    marks = marks_for(frame, plate, WorkSettings())
    flags = place_flags(marks, plate, type_units * plate.unit)
    assert len(flags) == sum(mark.is_numbered for mark in marks)
    assert not any(one.hits(other) for one, other in itertools.combinations(flags, 2))
    assert not any(flag.leaves(plate) for flag in flags)


def test_a_lone_number_stands_beside_its_mark_and_not_on_it() -> None:
    frame = dusty(1)
    plate = plate_for(frame, HOLDS[0])
    marks = marks_for(frame, plate, WorkSettings())
    (flag,) = place_flags(marks, plate, NUMBER_UNITS * plate.unit)
    reach = mark_reach(marks[0], plate.unit)
    assert not hits_circle(flag, marks[0].at, reach * 0.99)
    assert math.dist(flag.centre, marks[0].at) < reach + 6 * plate.unit


def test_numbers_stay_off_the_marks_that_show() -> None:
    frame = dusty(60)
    plate = plate_for(frame, HOLDS[0])
    marks = marks_for(frame, plate, WorkSettings())
    flags = place_flags(marks, plate, NUMBER_UNITS * plate.unit)
    showing = [mark for mark in marks if mark.shows]
    hidden = [
        (flag.mark.spot.id, mark.spot.id)
        for flag in flags
        for mark in showing
        if mark is not flag.mark and hits_circle(flag, mark.at, mark.radius)
    ]
    assert hidden == []
