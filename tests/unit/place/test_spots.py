"""The marks of a frame in the order of the report, and where they lie on the sensor."""

import numpy as np
import pytest

from motemap.coords import FrameGeometry, FramePoint
from motemap.place import place
from motemap.records import MeasuredSpot, MeasuredSpots

FULL_FRAME = FrameGeometry(height_px=4000, width_px=6000, pitch_um=6.0)


def marks(*places: tuple[float, float]) -> MeasuredSpots:
    """Return marks at some rows and columns."""
    return MeasuredSpots.of(
        [
            MeasuredSpot(
                centre=FramePoint(row_px=row_px, col_px=col_px),
                depth_frac=0.1,
                snr=50.0,
                width_px=10.0,
                length_px=15.0,
                lost_area_px2=8.0,
            )
            for row_px, col_px in places
        ]
    )


def test_deepest_first_then_row_then_column() -> None:
    found = marks((9, 9), (700, 5), (700, 2), (30, 5))
    placed = place(found, FULL_FRAME, np.array([0.1, 0.2, 0.2, 0.2]))
    assert placed.order.tolist() == [3, 2, 1, 0]


def test_order_of_the_marks_does_not_matter() -> None:
    places, depths = [(9, 9), (700, 5), (30, 5)], [0.1, 0.2, 0.2]
    one = place(marks(*places), FULL_FRAME, np.array(depths))
    other = place(marks(*places[::-1]), FULL_FRAME, np.array(depths[::-1]))
    assert one.order.tolist() == (2 - other.order).tolist()
    assert one.from_left_mm.tolist() == other.from_left_mm.tolist()
    assert one.from_top_mm.tolist() == other.from_top_mm.tolist()
    assert one.place == other.place


def test_positions_and_words_follow_the_order() -> None:
    placed = place(marks((2000, 3000), (500, 1000)), FULL_FRAME, np.array([0.1, 0.2]))
    assert placed.from_left_mm == pytest.approx([6.003, 18.003])
    # 500 rows below the top of the picture is 3 mm above the bottom of the sensor.
    assert placed.from_top_mm == pytest.approx([20.997, 11.997])
    assert placed.place == ("lower left", "centre")


def test_upright_pixels_have_no_place() -> None:
    turned = FrameGeometry(height_px=6000, width_px=4000, exif_orientation=1, pitch_um=6.0)
    placed = place(marks((500, 1000)), turned, np.array([0.2]))
    assert np.isnan([placed.from_left_mm, placed.from_top_mm]).all()
    assert placed.place == (None,)


def test_without_a_sensor_there_is_no_place_either() -> None:
    placed = place(marks((5, 6)), FrameGeometry(height_px=40, width_px=60), np.array([0.2]))
    assert placed.order.tolist() == [0]
    assert np.isnan([placed.from_left_mm, placed.from_top_mm]).all()
    assert placed.place == (None,)


def test_no_marks_have_no_order() -> None:
    placed = place(marks(), FULL_FRAME, np.array([]))
    assert placed.order.size == placed.from_left_mm.size == len(placed.place) == 0
