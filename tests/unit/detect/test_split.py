"""Parting what touches."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell
from motemap.detect.split import part_marks, separate_peaks

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHAPE = (31, 57)


def dips(
    *places: tuple[float, float], sigma: float = 3.0, depth: float = 0.1
) -> NDArray[np.float32]:
    drawn = [bell(SHAPE, row, col, sigma, depth) for row, col in places]
    return np.asarray(-np.sum(drawn, axis=0), np.float32)


def test_one_peak_is_one_mark() -> None:
    depth = dips((15, 20))
    assert separate_peaks(depth, depth > 0.01, 0.001) == [(15, 20)]


def test_peaks_are_listed_deepest_first() -> None:
    depth = dips((15, 15)) + 2 * dips((15, 40))
    assert separate_peaks(depth, depth > 0.001, 0.001) == [(15, 40), (15, 15)]


@pytest.mark.parametrize(
    ("scatter", "n_peaks"),
    [
        (0.001, 2),
        (0.02, 1),  # four times the scatter is 0.08, more than the fall of 0.05
    ],
)
def test_a_fall_within_the_scatter_parts_nothing(scatter: float, n_peaks: int) -> None:
    depth = dips((15, 20), (15, 30))  # the way between falls from 0.1 to 0.05
    assert len(separate_peaks(depth, depth > 0.01, scatter)) == n_peaks


def test_cells_outside_the_region_hold_no_peak() -> None:
    depth = dips((15, 15), (15, 40))
    inside = depth > 0.01
    inside[:, 30:] = False
    assert separate_peaks(depth, inside, 0.001) == [(15, 15)]


def test_two_equal_marks_are_parted() -> None:
    depth = dips((15, 20), (15, 30))
    assert set(np.unique(part_marks(depth, depth > 0.01, 0.001))) == {0, 1, 2}


def test_a_sliver_falls_back_to_its_neighbour() -> None:
    depth = dips((15, 20), sigma=6.0) + dips((15, 40), sigma=0.7, depth=0.02)
    inside = depth > 0.004
    assert len(separate_peaks(depth, inside, 0.0001)) == 2
    assert np.array_equal(part_marks(depth, inside, 0.0001), inside.astype(np.int32))
