"""Filters that all stages share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from scipy import ndimage

from motemap.filters import (
    correlated,
    highest_nearby,
    largest_steps,
    look_up,
    lowest_of_squares,
    one_filter_thread,
    pool,
    pool_windows,
    running_mean,
    running_median,
    smooth,
    smooth_unit,
    smooth_wide,
)

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


def test_pooling_a_mask_gives_shares() -> None:
    mask = np.array([[1, 0, 1], [1, 0, 1], [0, 1, 0]], bool)
    assert pool(mask).tolist() == [[0.5, 1.0], [0.5, 0.0]]
    assert np.array_equal(pool_windows(mask, 1), pool(mask))


SHAPES = [(23, 38), (3, 50), (2, 1), (1, 7)]
"""Also smaller than what a filter reaches: it is then mirrored more than once."""


def drawn(shape: tuple[int, ...]) -> NDArray[np.float32]:
    return np.random.default_rng(sum(shape)).normal(size=shape).astype(np.float32)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("sigma", [0.1, 0.8, 2.0, 7.3])
def test_a_gaussian_is_that_of_scipy(shape: tuple[int, int], sigma: float) -> None:
    plane = drawn(shape)
    same = ndimage.gaussian_filter(plane, sigma, mode="reflect", truncate=3.0)
    assert smooth(plane, sigma) == pytest.approx(same, abs=1e-6)
    lines = ndimage.gaussian_filter1d(plane[0], sigma, mode="reflect", truncate=4.0)
    assert smooth(plane[0], sigma, 4.0) == pytest.approx(lines, abs=1e-6)


def test_a_gaussian_takes_each_map_of_a_stack_by_itself() -> None:
    stack = drawn((5, 9, 14))
    apart = np.stack([smooth(plane, 2.5) for plane in stack])
    assert smooth(stack, 2.5) == pytest.approx(apart, abs=1e-6)
    assert smooth(stack, 2.5).dtype == np.float32


def test_a_gaussian_keeps_the_digits_of_what_it_blurs() -> None:
    plane = np.random.default_rng(3).normal(size=(7, 40))
    same = ndimage.gaussian_filter(plane, 3.0, mode="reflect", truncate=3.0)
    assert smooth(plane, 3.0) == pytest.approx(same, abs=1e-14)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_binomial_is_that_of_scipy(shape: tuple[int, int]) -> None:
    plane, kernel = drawn(shape), np.array([1, 4, 6, 4, 1]) / 16
    same = ndimage.convolve1d(ndimage.convolve1d(plane, kernel, axis=0), kernel, axis=1)
    assert smooth_unit(plane) == pytest.approx(same, abs=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("side", [3, 9, 31])
def test_running_means_and_medians_are_those_of_scipy(shape: tuple[int, int], side: int) -> None:
    plane = drawn(shape)
    mean = ndimage.uniform_filter(plane.astype(np.float64), side, mode="reflect")
    assert running_mean(plane, side) == pytest.approx(mean, abs=1e-6)
    median = ndimage.median_filter(plane, side, mode="nearest")
    assert np.array_equal(running_median(plane, side), median)


@pytest.mark.parametrize("side", [3, 9, 25])
def test_a_template_is_held_against_each_place_as_by_scipy(side: int) -> None:
    drawing = np.random.default_rng(side)
    plane, template = drawing.normal(size=(14, 33)), drawing.normal(size=(side, side + 2))
    same = ndimage.correlate(plane, template, mode="constant")
    assert correlated(plane[None], template)[0] == pytest.approx(same, abs=1e-12)


@pytest.mark.parametrize("shape", [(6, 23, 17), (1, 4, 30), (3, 1, 1)])
@pytest.mark.parametrize("side", [3, 9])
def test_the_highest_nearby_is_that_of_scipy(shape: tuple[int, ...], side: int) -> None:
    maps = drawn(shape)
    maps[maps < 0] = -np.inf
    same = ndimage.maximum_filter(maps, (1, side, side), mode="reflect")
    assert np.array_equal(highest_nearby(maps, side), same)


def test_the_lowest_of_squares_repeats_an_odd_last_row_and_column() -> None:
    plane = np.array([[5, 4, 8], [3, 4, 7], [2, 6, 10]], np.float32)
    assert lowest_of_squares(plane).tolist() == [[3, 7], [2, 10]]


def test_filters_have_one_thread_while_a_work_goes_on() -> None:
    before = cv2.getNumThreads()
    try:
        cv2.setNumThreads(2)
        with one_filter_thread(), one_filter_thread():
            assert cv2.getNumThreads() == 1
        assert cv2.getNumThreads() == 2
    finally:
        cv2.setNumThreads(before)


def test_the_largest_step_is_that_along_the_row_or_down_the_column() -> None:
    values = np.array([[9, 9, 9, 5], [9, 9, 0, 9], [8, 65535, 7, 3]], np.uint16)
    room = np.empty((2, 1, 2), np.uint16)
    assert largest_steps(values, 2, room).tolist() == [[2, 65532]]
    wider = np.empty((2, 1, 3), np.uint16)
    assert largest_steps(values[1:], 1, wider).tolist() == [[65527, 65528, 6]]


def test_codes_are_looked_up_one_by_one() -> None:
    table = np.arange(256, dtype=np.uint16) * 257
    codes = np.array([[0, 1, 255], [7, 2, 0]], np.uint8)
    assert look_up(table, codes).tolist() == [[0, 257, 65535], [1799, 514, 0]]


def test_a_wide_blur_of_a_large_plane_is_made_of_running_means() -> None:
    # Some six strips, each of which has to see beyond its ends.
    plane = np.random.default_rng(8).normal(size=(617, 1009)).astype(np.float32)
    same = plane
    for _ in range(3):
        same = ndimage.uniform_filter(same, 5, mode="reflect")
    assert smooth_wide(plane, 2.25) == pytest.approx(same, abs=1e-6)
