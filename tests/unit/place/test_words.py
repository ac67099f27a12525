"""Places in words, cell by cell."""

import numpy as np
import pytest

from motemap.place import words_of_fractions


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
    assert words_of_fractions([left_mm / 36.0], [top_mm / 24.0]) == [words]


def test_edge_reaches_in_by_eight_per_cent_of_the_side() -> None:
    left_mm = np.array([0.08 * 36 - 0.01, 0.08 * 36 + 0.01, 0.92 * 36 - 0.01, 0.92 * 36 + 0.01])
    words = words_of_fractions(left_mm / 36.0, np.full(4, 0.5))
    assert words == ["left edge", "centre left", "centre right", "right edge"]


def test_both_halves_are_parted_alike() -> None:
    third = 1 / 3
    words = words_of_fractions([third, 1 - third, third - 1e-9, 1 - third + 1e-9], [0.5] * 4)
    assert words == ["centre", "centre", "centre left", "centre right"]
