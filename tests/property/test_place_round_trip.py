"""There and back again: picture, sensor, display and hold."""

import math

from hypothesis import given
from hypothesis import strategies as st

from motemap.coords import FrameGeometry, FramePoint, ViewPoint
from motemap.place import (
    HOLDS,
    Hold,
    from_hold,
    from_view,
    held_size,
    to_frame,
    to_hold,
    to_sensor,
    to_view,
    view_size,
    words_of_fractions,
)
from motemap.records import Sensor

SLACK_PX = 1e-6
"""Rounding of a few float64 operations on numbers below 1e5."""

SHARES = st.floats(min_value=0.0, max_value=1.0)


@st.composite
def geometries(draw: st.DrawFn) -> FrameGeometry:
    height_px = draw(st.integers(min_value=1, max_value=20_000))
    width_px = height_px + draw(st.integers(min_value=1, max_value=20_000))
    return FrameGeometry(
        height_px=height_px,
        width_px=width_px,
        exif_orientation=draw(st.sampled_from([None, 1, 2, 3, 4, 5, 6, 7, 8])),
        pitch_um=draw(st.floats(min_value=0.5, max_value=20.0)),
    )


def point_in(geometry: FrameGeometry, across: float, down: float) -> FramePoint:
    return FramePoint(
        row_px=down * geometry.height_px - 0.5, col_px=across * geometry.width_px - 0.5
    )


def is_near(one: FramePoint, other: FramePoint) -> bool:
    return math.isclose(one.row_px, other.row_px, abs_tol=SLACK_PX) and math.isclose(
        one.col_px, other.col_px, abs_tol=SLACK_PX
    )


@given(geometries(), SHARES, SHARES)
def test_to_the_sensor_and_back(geometry: FrameGeometry, across: float, down: float) -> None:
    point = point_in(geometry, across, down)
    there = to_sensor(point, geometry)
    assert is_near(to_frame(there, geometry), point)
    assert geometry.sensor_width_mm is not None
    assert geometry.sensor_height_mm is not None
    assert -SLACK_PX <= there.from_left_mm <= geometry.sensor_width_mm + SLACK_PX
    assert -SLACK_PX <= there.from_top_mm <= geometry.sensor_height_mm + SLACK_PX


@given(geometries(), SHARES, SHARES)
def test_to_the_display_and_back(geometry: FrameGeometry, across: float, down: float) -> None:
    point = point_in(geometry, across, down)
    seen = to_view(point, geometry)
    assert is_near(from_view(seen, geometry), point)
    view_width_px, view_height_px = view_size(geometry)
    assert -0.5 - SLACK_PX <= seen.right_px <= view_width_px - 0.5 + SLACK_PX
    assert -0.5 - SLACK_PX <= seen.down_px <= view_height_px - 0.5 + SLACK_PX


@given(geometries())
def test_display_is_a_turn_or_a_mirror_so_distances_stay(geometry: FrameGeometry) -> None:
    one = to_view(FramePoint(row_px=0.0, col_px=0.0), geometry)
    two = to_view(FramePoint(row_px=3.0, col_px=4.0), geometry)
    assert math.hypot(one.right_px - two.right_px, one.down_px - two.down_px) == 5.0
    assert isinstance(one, ViewPoint)


@given(geometries(), SHARES, SHARES, st.sampled_from(HOLDS))
def test_to_a_hold_and_back(
    geometry: FrameGeometry, across: float, down: float, hold: Hold
) -> None:
    sensor = Sensor(
        format=None,
        width_mm=geometry.sensor_width_mm,
        height_mm=geometry.sensor_height_mm,
        pitch_um=geometry.pitch_um,
        source="given",
    )
    point = to_sensor(point_in(geometry, across, down), geometry)
    seen = to_hold(point, sensor, hold)
    back = from_hold(seen, sensor, hold)
    assert math.isclose(back.from_left_mm, point.from_left_mm, abs_tol=SLACK_PX)
    assert math.isclose(back.from_top_mm, point.from_top_mm, abs_tol=SLACK_PX)
    held_width_mm, held_height_mm = held_size(sensor, hold)
    assert -SLACK_PX <= seen.from_left_mm <= held_width_mm + SLACK_PX
    assert -SLACK_PX <= seen.from_top_mm <= held_height_mm + SLACK_PX


@given(geometries(), SHARES, SHARES)
def test_words_agree_with_the_side_a_mark_is_on(
    geometry: FrameGeometry, across: float, down: float
) -> None:
    there = to_sensor(point_in(geometry, across, down), geometry)
    width_mm, height_mm = geometry.sensor_width_mm, geometry.sensor_height_mm
    assert width_mm is not None
    assert height_mm is not None
    (words,) = words_of_fractions([there.from_left_mm / width_mm], [there.from_top_mm / height_mm])
    assert not ("left" in words and there.from_left_mm > width_mm / 2)
    assert not ("right" in words and there.from_left_mm < width_mm / 2)
    assert not ("upper" in words and there.from_top_mm > height_mm / 2)
    assert not ("lower" in words and there.from_top_mm < height_mm / 2)
