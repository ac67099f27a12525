"""Planes that are looked at through windows."""

from __future__ import annotations

import numpy as np
import pytest

from fields import noisy
from motemap.planes import (
    CONTRAST_STEP,
    Contrast,
    Steps,
    Surface,
    Thinned,
    cell_values,
    crops_of,
    enlarge,
    values_at,
)

SHAPE = (31, 46)
BASES = (
    np.sin(np.outer(np.arange(31), [0.1, 0.23])).astype(np.float32),
    np.arange(6, dtype=np.float32).reshape(2, 3),
    np.cos(np.outer(np.arange(46), [0.05, 0.11, 0.3])).astype(np.float32),
)
VALUES = np.arange(500 * 700, dtype=np.float32).reshape(500, 700)


def wavy() -> Surface:
    return Surface.of_bases(*BASES)


@pytest.mark.parametrize("window", [np.s_[:, :], np.s_[3:9, 40:46], np.s_[::8, ::5], np.s_[5:5, :]])
def test_a_window_of_a_surface_is_that_part_of_the_whole(window: tuple[slice, slice]) -> None:
    down, core, across = BASES
    whole = down @ core @ across.T
    assert wavy()[window] == pytest.approx(whole[window], abs=1e-5)
    assert wavy().shape == SHAPE


def test_a_window_does_without_what_is_0_there() -> None:
    down = np.eye(31, 4, dtype=np.float32)
    surface = Surface(down=down, lines=VALUES[:4, :46])
    assert np.array_equal(surface[:, :], down @ VALUES[:4, :46])
    assert np.array_equal(surface[2:3, 5:7], VALUES[2:3, 5:7])
    assert not surface[4:9, :].any()


def test_surfaces_add() -> None:
    both = wavy() + Surface.even(SHAPE, 2.5)
    assert both[:, :] == pytest.approx(wavy()[:, :] + 2.5, abs=1e-5)


def test_steps_hold_over_squares_to_the_last_cell() -> None:
    steps = Steps(values=np.array([[1, 2, 3], [4, 5, 6]], np.float32), side=4, shape=(9, 11))
    whole = steps[:, :]
    assert whole.shape == (9, 11)
    assert whole[3, 3] == 1
    assert whole[4, 4] == 5
    assert whole[8, 10] == 6  # beyond the last square: the nearest one
    assert steps[7:9, 0:2].tolist() == [[4, 4], [4, 4]]


def test_enlarging_repeats_cells() -> None:
    plane = np.array([[1, 2, 3]], np.float32)
    assert enlarge(plane, 2).tolist() == [[1, 1, 2, 2, 3, 3]] * 2
    assert enlarge(plane, 1) is plane


def test_a_narrow_window_of_steps_is_part_of_the_whole() -> None:
    steps = Steps(values=VALUES[:3, :3], side=4, shape=(9, 11))
    whole = steps[:, :]
    assert np.array_equal(steps[1:9:2, 9:11], whole[1:9:2, 9:11])
    assert steps[2:5, 4:4].shape == (3, 0)


def test_contrast_comes_back_to_half_a_step() -> None:
    wanted = noisy(SHAPE, 0.01, 3)
    kept = Contrast.of(wanted)
    assert np.abs(kept[:, :] - wanted).max() <= CONTRAST_STEP / 2
    assert kept[2:5, 7:9].dtype == np.float32
    assert kept.codes.nbytes == wanted.nbytes // 2


def test_contrast_beyond_its_range_is_cut() -> None:
    kept = Contrast.of(np.array([[-1.5, -1.0, 0.0, 1.0, 7.0]]))[:, :]
    assert kept == pytest.approx(np.array([[-1, -1, 0, 1, 1]]), abs=2 * float(CONTRAST_STEP))


def test_values_of_single_cells() -> None:
    rows, cols = np.array([-0.4, 3.6, 499.9, 12.0]), np.array([0.2, 8.4, 720.0, 699.0])
    wanted = [VALUES[0, 0], VALUES[4, 8], VALUES[499, 699], VALUES[12, 699]]
    assert cell_values(VALUES, rows, cols).tolist() == wanted


def test_single_cells_are_those_of_a_window() -> None:
    surface = Surface(down=VALUES[:, :3], lines=VALUES[:3])
    planes = (
        VALUES,
        surface,
        Contrast.of(VALUES),
        Steps(values=VALUES[:8, :9], side=4, shape=(30, 34)),
        Thinned(plane=VALUES, every=3, factor=0.5),
        Thinned(plane=surface, every=2),
    )
    rows, cols = np.array([0, 7, 29, 7]), np.array([33, 0, 12, 1])
    for plane in planes:
        whole = plane[0:30, 0:34]
        np.testing.assert_allclose(values_at(plane, rows, cols), whole[rows, cols], rtol=1e-6)


def test_crops_are_windows_of_one_shape() -> None:
    bent = np.zeros((500, 9), np.float32)
    for number in range(9):
        bent[55 * number : 55 * number + 70, number] = 1.5  # most of a basis is 0 over a few rows
    planes = (
        VALUES,
        Surface(down=bent, lines=VALUES[:9]),
        Contrast.of(VALUES / 400_000),
        Thinned(plane=VALUES, every=3, factor=0.5),
    )
    top, left, (height, width) = np.array([0, 52, 110, 61]), np.array([70, 0, 12, 1]), (9, 16)
    for plane in planes:
        crops = crops_of(plane, top, left, (height, width))
        for crop, row, col in zip(crops, top, left, strict=True):
            window = plane[row : row + height, col : col + width]
            np.testing.assert_allclose(crop, window, rtol=1e-6)


def test_no_crops_are_no_fault() -> None:
    none = np.zeros(0, np.intp)
    for plane in (Contrast.of(VALUES), Surface.even(SHAPE, 1.0), VALUES):
        assert crops_of(plane, none, none, (3, 4)).shape == (0, 3, 4)


def test_no_places_are_no_fault() -> None:
    assert cell_values(VALUES, np.zeros(0), np.zeros(0)).shape == (0,)
