"""Row and column levels."""

from __future__ import annotations

import math

import numpy as np
import pytest

from motemap.flatten.stripes import line_levels, remove_stripes

SHAPE = (40, 90)


def test_levels_are_row_medians() -> None:
    rows = np.repeat(np.arange(40, dtype=np.float32)[:, None], 90, axis=1)
    rows[:, :30] = 99  # a third of a row cannot move its median
    assert line_levels(rows, np.ones(SHAPE, bool)).tolist() == list(range(40))


def test_cells_that_do_not_count_are_left_out() -> None:
    rows = np.repeat(np.arange(40, dtype=np.float32)[:, None], 90, axis=1)
    rows[:, :60] = 99
    valid = np.ones(SHAPE, bool)
    valid[:, :60] = False
    assert line_levels(rows, valid).tolist() == list(range(40))


def test_a_row_with_few_usable_cells_is_left_alone() -> None:
    valid = np.ones(SHAPE, bool)
    valid[7, 15:] = False  # 15 are left, one below the least
    levels = line_levels(np.full(SHAPE, 0.5, np.float32), valid)
    assert levels[7] == 0
    assert np.delete(levels, 7).tolist() == [0.5] * 39


def test_levels_of_rows_and_columns_go() -> None:
    rows = np.linspace(-0.01, 0.01, 40, dtype=np.float32)[:, None]
    cols = 0.02 * np.sin(np.arange(90, dtype=np.float32))[None, :]
    flat, stripe_frac = remove_stripes((rows + cols).astype(np.float32), np.ones(SHAPE, bool))
    assert np.abs(flat - np.median(flat)).max() < 1e-6
    # The larger of both; the median absolute deviation of a sine is its amplitude over root 2.
    assert stripe_frac == pytest.approx(1.4826 * 0.02 / math.sqrt(2), rel=0.02)


def test_a_long_fibre_along_a_row_stays() -> None:
    fibre = np.zeros(SHAPE, np.float32)
    fibre[20, 10:50] = -0.2
    flat, _ = remove_stripes(fibre, np.ones(SHAPE, bool))
    assert np.array_equal(flat, fibre)


def test_a_fall_of_light_along_one_edge_is_no_banding() -> None:
    dark_edge = np.zeros(SHAPE, np.float32)
    dark_edge[:4] = -0.3
    _, stripe_frac = remove_stripes(dark_edge, np.ones(SHAPE, bool))
    assert stripe_frac == 0


def test_input_is_left_alone() -> None:
    contrast = np.full(SHAPE, 0.1, np.float32)
    contrast.setflags(write=False)
    flat, _ = remove_stripes(contrast, np.ones(SHAPE, bool))
    assert np.abs(flat).max() < 1e-7
