"""Exif orientation against the standard's table and against another implementation.

Sources: CIPA DC-008 (Exif), sides of row 0 and column 0 as in the jpegexiforient manual page;
Pillow's ImageOps.exif_transpose, which turns a picture by its tag.
"""

import numpy as np
import pytest
from PIL import Image, ImageOps

from motemap.coords import FrameGeometry, FramePoint, ViewPoint
from motemap.facts.orientation import orientations
from motemap.place import from_view, to_sensor, to_view, view_size

pytestmark = pytest.mark.external

ORIENTATION_TAG = 0x0112

SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}

STORED_OF_DISPLAYED_1000_500 = {
    # Stored size 6000 x 4000; worked from the table of sides: column, row.
    1: (1000, 500),
    2: (4999, 500),
    3: (4999, 3499),
    4: (1000, 3499),
    5: (500, 1000),
    6: (500, 2999),
    7: (5499, 2999),
    8: (5499, 1000),
}


def test_sides_are_those_of_the_standard() -> None:
    table = {tag: (fact.row0_side, fact.col0_side) for tag, fact in orientations().items()}
    assert table == SIDES


@pytest.mark.parametrize("tag", SIDES)
def test_worked_example_of_every_tag(tag: int) -> None:
    geometry = FrameGeometry(height_px=4000, width_px=6000, exif_orientation=tag)
    stored = from_view(ViewPoint(right_px=1000, down_px=500), geometry)
    assert (stored.col_px, stored.row_px) == STORED_OF_DISPLAYED_1000_500[tag]
    assert to_view(stored, geometry) == ViewPoint(right_px=1000, down_px=500)


@pytest.mark.parametrize("tag", SIDES)
def test_pillow_shows_every_pixel_where_we_say(tag: int) -> None:
    height_px, width_px = 5, 7
    codes = np.arange(height_px * width_px, dtype=np.uint8).reshape(height_px, width_px)
    stored = Image.fromarray(codes)
    stored.getexif()[ORIENTATION_TAG] = tag
    shown = np.asarray(ImageOps.exif_transpose(stored))
    geometry = FrameGeometry(height_px=height_px, width_px=width_px, exif_orientation=tag)
    assert shown.shape[::-1] == view_size(geometry)
    for row_px, col_px in np.ndindex(height_px, width_px):
        seen = to_view(FramePoint(row_px=row_px, col_px=col_px), geometry)
        assert shown[int(seen.down_px), int(seen.right_px)] == codes[row_px, col_px]


def test_sensor_sees_the_stored_picture_flipped_top_to_bottom() -> None:
    """Derived: lens turns by 180 degrees, facing the sensor mirrors left and right."""
    geometry = FrameGeometry(height_px=4000, width_px=6000, exif_orientation=1, pitch_um=6.0)
    point = to_sensor(FramePoint(row_px=500, col_px=1000), geometry)
    assert point.from_left_mm == pytest.approx(6.003)
    assert 24.0 - point.from_top_mm == pytest.approx(3.003)
