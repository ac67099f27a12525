"""Stored and displayed picture, without the table: by hand on a picture of 3 x 2 pixels."""

import pytest

from motemap.coords import FrameGeometry, FramePoint, ViewPoint
from motemap.place import from_view, to_view, view_size


def geometry(tag: int | None) -> FrameGeometry:
    return FrameGeometry(height_px=2, width_px=3, exif_orientation=tag)


@pytest.mark.parametrize(
    ("tag", "size"),
    [(None, (3, 2)), (1, (3, 2)), (2, (3, 2)), (3, (3, 2)), (4, (3, 2))]
    + [(tag, (2, 3)) for tag in (5, 6, 7, 8)],
)
def test_size_changes_sides_when_the_picture_is_turned(
    tag: int | None, size: tuple[int, int]
) -> None:
    assert view_size(geometry(tag)) == size


@pytest.mark.parametrize(
    ("tag", "right_px", "down_px"),
    [
        (None, 0, 0),
        (1, 0, 0),
        (2, 2, 0),
        (3, 2, 1),
        (4, 0, 1),
        (5, 0, 0),
        (6, 1, 0),
        (7, 1, 2),
        (8, 0, 2),
    ],
)
def test_the_first_stored_pixel_is_seen_in_the_corner_the_tag_names(
    tag: int | None, right_px: int, down_px: int
) -> None:
    seen = to_view(FramePoint(row_px=0, col_px=0), geometry(tag))
    assert seen == ViewPoint(right_px=right_px, down_px=down_px)
    assert from_view(seen, geometry(tag)) == FramePoint(row_px=0, col_px=0)
