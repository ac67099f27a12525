"""The view of the drawing agrees with the one place where holds are defined."""

import pytest

from motemap.coords import SensorPoint
from motemap.place import HOLDS, Hold, held_size, to_hold
from motemap.records import Sensor
from motemap.report.pictures.view import FACING, view_of

SENSOR = Sensor(format="full frame", width_mm=36.0, height_mm=24.0, pitch_um=6.0, source="given")


@pytest.mark.parametrize("hold", HOLDS, ids=lambda hold: hold.name)
def test_points_lie_where_the_hold_puts_them(hold: Hold) -> None:
    view = view_of(hold)
    for left_mm, top_mm in ((6.003, 20.997), (0.0, 0.0), (35.0, 1.0)):
        seen = to_hold(SensorPoint(from_left_mm=left_mm, from_top_mm=top_mm), SENSOR, hold)
        assert view.point((left_mm, top_mm), 36.0, 24.0) == pytest.approx(
            (seen.from_left_mm, seen.from_top_mm), abs=1e-12
        )
    assert view.size(36.0, 24.0) == held_size(SENSOR, hold)


def test_grip_up_turns_the_grip_from_the_left_to_the_top() -> None:
    # Looking into the mount the right-hand grip is on the viewer's left.
    grip_up = next(hold for hold in HOLDS if hold.name == "grip-up")
    right_mm, down_mm = view_of(grip_up).point((0.0, 12.0), 36.0, 24.0)
    assert (right_mm, down_mm) == (12.0, 0.0)


def test_the_usual_view_is_that_of_the_reports() -> None:
    assert FACING.meaning == HOLDS[0].meaning
    assert FACING.words.startswith("Facing you")
    assert FACING.point((6.003, 20.997), 36.0, 24.0) == (6.003, 20.997)
