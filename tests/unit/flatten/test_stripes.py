"""Row and column levels."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fields import noisy
from motemap.flatten.stripes import line_levels, measure_stripes

SHAPE = (40, 90)
ALL = np.ones(SHAPE, bool)


def test_levels_are_row_medians() -> None:
    rows = np.repeat(np.arange(40, dtype=np.float32)[:, None], 90, axis=1)
    rows[:, :30] = 99  # a third of a row cannot move its median
    assert line_levels(rows, ALL)[0].tolist() == list(range(40))


def test_cells_that_do_not_count_are_left_out() -> None:
    rows = np.repeat(np.arange(40, dtype=np.float32)[:, None], 90, axis=1)
    rows[:, :60] = 99
    valid = ALL.copy()
    valid[:, :60] = False
    assert line_levels(rows, valid)[0].tolist() == list(range(40))


def test_a_row_with_few_usable_cells_is_left_alone() -> None:
    valid = ALL.copy()
    valid[7, 15:] = False  # 15 are left, one below the least
    levels, _ = line_levels(np.full(SHAPE, 0.5, np.float32), valid)
    assert levels[7] == 0
    assert np.delete(levels, 7).tolist() == [0.5] * 39


def test_the_error_of_a_level_is_that_of_a_median() -> None:
    levels, errors = line_levels(noisy((2000, 400), 0.004, 5), np.ones((2000, 400), bool))
    # 1.2533 times the noise over the root of the number of values; 2,000 levels tell it to 2 %.
    assert float(np.median(errors)) == pytest.approx(1.2533 * 0.004 / 20, rel=0.03)
    assert float(levels.std()) == pytest.approx(float(np.median(errors)), rel=0.08)


def test_levels_of_rows_and_columns_are_found() -> None:
    rows = np.linspace(-0.01, 0.01, 40, dtype=np.float32)[:, None]
    cols = 0.02 * np.sin(np.arange(90, dtype=np.float32))[None, :]
    bands = (rows + cols).astype(np.float32) + noisy(SHAPE, 1e-5, 3)
    stripes = measure_stripes(bands, ALL)
    rest = bands - stripes.rows[:, None] - stripes.cols[None, :]
    # A median over 40 cells of this noise is known to 2e-6; its own scatter is 1e-5.
    assert np.abs(rest - np.median(rest)).max() < 6e-5
    # The larger of both; the median absolute deviation of a sine is its amplitude over root 2.
    assert stripes.spread_frac == pytest.approx(1.4826 * 0.02 / math.sqrt(2), rel=0.02)


def test_noise_without_banding_is_left_as_it_is() -> None:
    shape = (600, 900)
    stripes = measure_stripes(noisy(shape, 0.004, 7), np.ones(shape, bool))
    # Bare medians over 300 to 450 looked-at cells would scatter by 0.024 to 0.029 %.
    assert float(stripes.rows.std()) < 1.2e-4
    assert float(stripes.cols.std()) < 1.2e-4
    assert stripes.spread_frac < 1.2e-4


def test_a_single_odd_row_is_taken_out_where_all_others_are_even() -> None:
    shape = (300, 600)
    frame = noisy(shape, 0.004, 8)
    frame[120] += 0.003
    stripes = measure_stripes(frame, np.ones(shape, bool))
    assert float(stripes.rows[120]) == pytest.approx(0.003, abs=3 * 1.2533 * 0.004 / math.sqrt(600))
    assert float(np.abs(np.delete(stripes.rows, 120)).mean()) < 1e-4


def test_a_long_fibre_along_a_row_stays() -> None:
    fibre = np.zeros(SHAPE, np.float32)
    fibre[20, 10:50] = -0.2
    stripes = measure_stripes(fibre, ALL)
    assert not stripes.are_there


def test_a_streak_along_most_of_a_row_stays() -> None:
    shape = (300, 900)
    frame = noisy(shape, 0.004, 9)
    frame[100:118, 150:700] -= 0.03  # a median alone would take all of it
    frame[:, 400] -= 0.01
    stripes = measure_stripes(frame, np.ones(shape, bool))
    assert float(np.abs(stripes.rows[100:118]).max()) < 0.002
    assert float(stripes.cols[400]) == pytest.approx(-0.01, abs=0.001)


def test_banding_on_uneven_light_is_taken_out_whole() -> None:
    shape = (300, 900)
    frame = noisy(shape, 0.001, 10)
    frame += (0.003 * np.sin(np.arange(900) / 60)).astype(np.float32)
    bands = 0.01 * np.sin(np.arange(300) / 7)
    frame += bands[:, None].astype(np.float32)
    stripes = measure_stripes(frame, np.ones(shape, bool))
    assert float(np.abs(stripes.rows - bands).max()) < 0.001


def test_a_fall_of_light_along_one_edge_is_no_banding() -> None:
    dark_edge = np.zeros(SHAPE, np.float32)
    dark_edge[:4] = -0.3
    assert measure_stripes(dark_edge, ALL).spread_frac == 0


def test_banding_goes_where_dark_corners_leave_little_of_the_ends_of_a_line() -> None:
    shape = (300, 960)
    frame = noisy(shape, 0.001, 11)
    frame[150:153] -= 0.03
    valid = np.ones(shape, bool)
    valid[:, :114] = valid[:, -114:] = False
    assert float(np.abs(measure_stripes(frame, valid).rows[150:153] + 0.03).max()) < 0.002
