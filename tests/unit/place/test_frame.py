"""Picture to sensor: the worked example, the corners, and what cannot be placed."""

import pytest

from motemap.coords import FrameGeometry, FramePoint, SensorPoint
from motemap.errors import GeometryError
from motemap.place import to_frame, to_sensor, why_unplaced

FULL_FRAME = FrameGeometry(height_px=4000, width_px=6000, exif_orientation=1, pitch_um=6.0)


def test_worked_example_of_the_contract() -> None:
    point = to_sensor(FramePoint(row_px=500, col_px=1000), FULL_FRAME)
    assert point.from_left_mm == pytest.approx(6.003, abs=1e-9)
    assert point.from_top_mm == pytest.approx(20.997, abs=1e-9)


def test_seen_from_the_front_left_stays_left_and_top_becomes_bottom() -> None:
    first = to_sensor(FramePoint(row_px=0, col_px=0), FULL_FRAME)
    assert first.from_left_mm == pytest.approx(0.003)
    assert first.from_top_mm == pytest.approx(23.997)
    last = to_sensor(FramePoint(row_px=3999, col_px=5999), FULL_FRAME)
    assert last.from_left_mm == pytest.approx(35.997)
    assert last.from_top_mm == pytest.approx(0.003)


def test_the_outer_edges_of_the_picture_are_those_of_the_sensor() -> None:
    point = to_sensor(FramePoint(row_px=-0.5, col_px=-0.5), FULL_FRAME)
    assert (point.from_left_mm, point.from_top_mm) == pytest.approx((0.0, 24.0))


def test_inverse_of_the_worked_example() -> None:
    point = to_frame(SensorPoint(from_left_mm=6.003, from_top_mm=20.997), FULL_FRAME)
    assert (point.row_px, point.col_px) == pytest.approx((500.0, 1000.0))


@pytest.mark.parametrize("tag", [None, 1, 3, 6, 8])
def test_the_orientation_tag_does_not_move_marks_on_the_sensor(tag: int | None) -> None:
    geometry = FrameGeometry(height_px=4000, width_px=6000, exif_orientation=tag, pitch_um=6.0)
    there = to_sensor(FramePoint(row_px=500, col_px=1000), geometry)
    assert there.from_left_mm == pytest.approx(6.003)


@pytest.mark.parametrize("tag", [None, 1, 6, 8])
def test_upright_pixels_are_not_placed(tag: int | None) -> None:
    turned = FrameGeometry(height_px=6000, width_px=4000, exif_orientation=tag, pitch_um=6.0)
    reason = why_unplaced(turned)
    assert reason is not None
    assert "stands upright" in reason
    with pytest.raises(GeometryError, match="stands upright"):
        to_sensor(FramePoint(row_px=10, col_px=20), turned)


def test_without_a_sensor_nothing_is_placed() -> None:
    unknown = FrameGeometry(height_px=4000, width_px=6000)
    reason = why_unplaced(unknown)
    assert reason is not None
    assert "--sensor" in reason
    with pytest.raises(GeometryError, match="--sensor"):
        to_frame(SensorPoint(from_left_mm=1, from_top_mm=1), unknown)
