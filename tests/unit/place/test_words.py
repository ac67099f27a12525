"""Places in words, cell by cell."""

import pytest

from motemap.coords import SensorPoint
from motemap.place import place_words


@pytest.mark.parametrize(
    ("left_mm", "top_mm", "words"),
    [
        (18.0, 12.0, "centre"),
        (8.0, 5.0, "upper left"),
        (18.0, 5.0, "upper centre"),
        (28.0, 5.0, "upper right"),
        (8.0, 12.0, "centre left"),
        (28.0, 12.0, "centre right"),
        (8.0, 19.0, "lower left"),
        (18.0, 19.0, "lower centre"),
        (28.0, 19.0, "lower right"),
        (1.0, 12.0, "left edge"),
        (35.0, 12.0, "right edge"),
        (18.0, 1.0, "upper edge"),
        (18.0, 23.0, "lower edge"),
        (1.0, 5.0, "left edge, upper part"),
        (35.0, 19.0, "right edge, lower part"),
        (8.0, 1.0, "upper edge, left part"),
        (28.0, 23.0, "lower edge, right part"),
        (1.0, 1.0, "upper left corner"),
        (35.0, 1.0, "upper right corner"),
        (1.0, 23.0, "lower left corner"),
        (35.0, 23.0, "lower right corner"),
    ],
)
def test_every_cell_of_the_sensor_has_its_words(left_mm: float, top_mm: float, words: str) -> None:
    point = SensorPoint(from_left_mm=left_mm, from_top_mm=top_mm)
    assert place_words(point, width_mm=36.0, height_mm=24.0) == words


def test_edge_reaches_in_by_eight_per_cent_of_the_side() -> None:
    def words(left_mm: float) -> str:
        point = SensorPoint(from_left_mm=left_mm, from_top_mm=12.0)
        return place_words(point, width_mm=36.0, height_mm=24.0)

    assert words(0.08 * 36 - 0.01) == "left edge"
    assert words(0.08 * 36 + 0.01) == "centre left"
