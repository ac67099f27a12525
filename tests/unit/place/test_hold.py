"""Other ways of holding the body, followed by hand from one mark on a 36 x 24 mm sensor."""

import numpy as np
import pytest

from motemap.coords import FrameGeometry, FramePoint, SensorPoint
from motemap.errors import GeometryError, SettingsError
from motemap.place import HOLDS, find_hold, held_places, held_size, to_hold, to_sensor
from motemap.records import Sensor

FULL_FRAME = Sensor(
    format="full frame", width_mm=36.0, height_mm=24.0, pitch_um=6.0, source="given"
)
MARK = SensorPoint(from_left_mm=6.0, from_top_mm=4.0)


@pytest.mark.parametrize(
    ("name", "left_mm", "top_mm", "size", "words"),
    [
        ("upright", 6.0, 4.0, (36.0, 24.0), "upper left"),
        ("on-back-top-away", 6.0, 4.0, (36.0, 24.0), "upper left"),
        ("upside-down", 30.0, 20.0, (36.0, 24.0), "lower right"),
        ("on-back-top-near", 30.0, 20.0, (36.0, 24.0), "lower right"),
        # The grip is at the left seen from the front; turned up, the top plate points right.
        ("grip-up", 20.0, 6.0, (24.0, 36.0), "upper right"),
        ("grip-down", 4.0, 30.0, (24.0, 36.0), "lower left"),
        ("from-behind", 30.0, 4.0, (36.0, 24.0), "upper right"),
    ],
)
def test_one_mark_in_every_hold(
    name: str, left_mm: float, top_mm: float, size: tuple[float, float], words: str
) -> None:
    hold = find_hold(name)
    seen = to_hold(MARK, FULL_FRAME, hold)
    assert (seen.from_left_mm, seen.from_top_mm) == pytest.approx((left_mm, top_mm))
    assert held_size(FULL_FRAME, hold) == size
    # The second lies in the middle, which stays where it is.
    lefts_mm, tops_mm, places = held_places(
        np.array([6.0, 18.0]), np.array([4.0, 12.0]), FULL_FRAME, hold
    )
    assert lefts_mm == pytest.approx([left_mm, size[0] / 2])
    assert tops_mm == pytest.approx([top_mm, size[1] / 2])
    assert places == [words, "centre"]


def test_from_behind_the_sensor_is_the_picture_turned_by_180_degrees() -> None:
    geometry = FrameGeometry(height_px=4000, width_px=6000, pitch_um=6.0)
    stored = FramePoint(row_px=500, col_px=1000)
    seen = to_hold(to_sensor(stored, geometry), FULL_FRAME, find_hold("from-behind"))
    assert seen.from_left_mm == pytest.approx((5999 - 1000 + 0.5) * 0.006)
    assert seen.from_top_mm == pytest.approx((3999 - 500 + 0.5) * 0.006)


def test_names_are_forgiving_and_all_found() -> None:
    assert find_hold("Upside_Down").name == "upside-down"
    for hold in HOLDS:
        assert find_hold(hold.name) is hold
    assert HOLDS[0].name == "upright"


def test_an_unknown_hold_names_the_known_ones() -> None:
    with pytest.raises(SettingsError, match="'sideways'") as caught:
        find_hold("sideways")
    assert "on-back-top-near" in caught.value.repair


def test_an_unknown_sensor_cannot_be_held() -> None:
    unknown = Sensor(format=None, width_mm=None, height_mm=None, pitch_um=None, source="assumed")
    with pytest.raises(GeometryError, match="unknown"):
        to_hold(MARK, unknown, HOLDS[0])
