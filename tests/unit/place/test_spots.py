"""Measured marks become numbered spots in the order of the report."""

import pytest

from motemap.coords import FrameGeometry, FramePoint
from motemap.place import place
from motemap.records import MeasuredSpot

FULL_FRAME = FrameGeometry(height_px=4000, width_px=6000, pitch_um=6.0)


def mark(row_px: float, col_px: float, depth_frac: float) -> MeasuredSpot:
    return MeasuredSpot(
        centre=FramePoint(row_px=row_px, col_px=col_px),
        depth_frac=depth_frac,
        snr=50.0,
        width_px=10.0,
        length_px=15.0,
        lost_area_px2=8.0,
    )


def test_deepest_first_then_row_then_column() -> None:
    marks = [mark(9, 9, 0.1), mark(700, 5, 0.2), mark(700, 2, 0.2), mark(30, 5, 0.2)]
    spots = place(marks, FULL_FRAME).spots
    assert [spot.id for spot in spots] == [1, 2, 3, 4]
    positions = [(spot.image_y_px, spot.image_x_px) for spot in spots]
    assert positions == [(30, 5), (700, 2), (700, 5), (9, 9)]


def test_order_of_the_marks_does_not_matter() -> None:
    marks = [mark(9, 9, 0.1), mark(700, 5, 0.2), mark(30, 5, 0.2)]
    assert place(marks, FULL_FRAME).spots == place(marks[::-1], FULL_FRAME).spots


def test_depths_known_better_decide_the_order() -> None:
    marks = [mark(9, 9, 0.1), mark(700, 5, 0.2)]
    placed = place(marks, FULL_FRAME, [0.4, 0.3])
    assert placed.order == (0, 1)
    assert [spot.depth_frac for spot in placed.spots] == [0.4, 0.3]
    assert place(marks, FULL_FRAME).order == (1, 0)


def test_sizes_are_carried_over_with_the_pitch() -> None:
    (spot,) = place([mark(500, 1000, 0.2)], FULL_FRAME).spots
    assert spot.from_left_mm == pytest.approx(6.003)
    assert spot.from_top_mm == pytest.approx(20.997)
    assert spot.place == "lower left"
    assert (spot.width_um, spot.length_um) == pytest.approx((60.0, 90.0))
    assert spot.lost_area_um2 == pytest.approx(8 * 36.0)


def test_upright_pixels_keep_their_sizes_but_have_no_place() -> None:
    turned = FrameGeometry(height_px=6000, width_px=4000, exif_orientation=1, pitch_um=6.0)
    (spot,) = place([mark(500, 1000, 0.2)], turned).spots
    assert (spot.from_left_mm, spot.from_top_mm, spot.place) == (None, None, None)
    assert spot.width_um == pytest.approx(60.0)
    assert (spot.image_x_px, spot.image_y_px) == (1000, 500)


def test_without_a_sensor_there_is_no_size_either() -> None:
    (spot,) = place([mark(5, 6, 0.2)], FrameGeometry(height_px=40, width_px=60)).spots
    assert (spot.width_um, spot.length_um, spot.lost_area_um2, spot.place) == (None,) * 4


def test_no_marks_are_no_spots() -> None:
    assert place([], FULL_FRAME).spots == ()
