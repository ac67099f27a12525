"""Filters that all stages share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from motemap.filters import label_pieces, piece_boxes, pool, pool_windows, smooth, smooth_wide

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Blur = Callable[[NDArray[np.float32], float], NDArray[np.float32]]


def impulse(shape: tuple[int, int], row: int, col: int) -> NDArray[np.float32]:
    plane = np.zeros(shape, np.float32)
    plane[row, col] = 1
    return plane


def test_pooling_averages_squares() -> None:
    plane = np.arange(8, dtype=np.float32).reshape(2, 4)
    assert pool(plane).tolist() == [[2.5, 4.5]]


def test_pooling_repeats_an_odd_last_row_and_column() -> None:
    plane = np.array([[0, 4, 8], [0, 4, 8], [2, 6, 10]], np.float32)
    assert pool(plane).tolist() == [[2, 8], [4, 10]]


def test_pooling_leaves_its_input_alone() -> None:
    plane = np.arange(15, dtype=np.float32).reshape(3, 5)
    plane.setflags(write=False)
    assert pool(plane).shape == (2, 3)
    assert plane.tolist() == np.arange(15).reshape(3, 5).tolist()


@pytest.mark.parametrize("blur", [smooth, smooth_wide])
def test_a_level_plane_stays_level_up_to_the_borders(blur: Blur) -> None:
    level = np.full((40, 61), 0.25, np.float32)
    assert blur(level, 4.5) == pytest.approx(0.25, abs=1e-6)


@pytest.mark.parametrize("blur", [smooth, smooth_wide])
def test_blurring_keeps_the_sum_even_at_the_border(blur: Blur) -> None:
    # Mirroring at the outer side of the border cells gives back what leaves the plane.
    assert blur(impulse((50, 71), 1, 2), 3.0).sum() == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize(
    ("blur", "sigma", "tolerance"),
    [
        (smooth, 2.0, 0.03),  # the Gaussian is cut at 3 sigma, which costs 1.5 % of its width
        (smooth_wide, 2.25, 0.1),  # running means have odd whole sides: 5 gives 2.45
        (smooth_wide, 9.0, 0.06),  # 19 gives 9.49
    ],
)
def test_blurring_is_as_wide_as_asked(blur: Blur, sigma: float, tolerance: float) -> None:
    spread = blur(impulse((101, 141), 50, 70), sigma)
    rows, cols = np.indices(spread.shape)
    down = float((spread * (rows - 50) ** 2).sum()) ** 0.5
    across = float((spread * (cols - 70) ** 2).sum()) ** 0.5
    assert down == pytest.approx(sigma, rel=tolerance)
    assert across == pytest.approx(sigma, rel=tolerance)


def test_pieces_that_touch_at_corners_are_one() -> None:
    mask = np.array([[1, 0, 0, 1], [0, 1, 0, 1], [0, 0, 0, 0], [1, 1, 0, 0]], bool)
    label = label_pieces(mask)
    assert label.tolist() == [[1, 0, 0, 2], [0, 1, 0, 2], [0, 0, 0, 0], [3, 3, 0, 0]]
    assert piece_boxes(label) == [np.s_[0:2, 0:2], np.s_[0:2, 3:4], np.s_[3:4, 0:2]]


def test_a_number_that_is_missing_has_no_box() -> None:
    assert piece_boxes(np.array([[0, 2]], np.int32)) == [None, np.s_[0:1, 1:2]]


def test_pooling_a_mask_gives_shares() -> None:
    mask = np.array([[1, 0, 1], [1, 0, 1], [0, 1, 0]], bool)
    assert pool(mask).tolist() == [[0.5, 1.0], [0.5, 0.0]]
    assert np.array_equal(pool_windows(mask, 1), pool(mask))
