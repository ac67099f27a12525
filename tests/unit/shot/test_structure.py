"""What in a frame is neither smooth nor dust."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fields import bell, flat_frame, noisy
from motemap.shot import measure_structure

SHAPE = (256, 384)
NONE = np.zeros((SHAPE[0] // 2, SHAPE[1] // 2), bool)
"""Marks are told by squares of 2 x 2 cells."""


def test_noise_is_a_blank_field() -> None:
    structure = measure_structure(flat_frame(noisy(SHAPE, 0.008, 1), 0.008), NONE)
    assert structure.rough_share == 0
    assert structure.bright_share == 0
    # White noise pooled to squares of 16 cells has a quarter of its deviation.
    assert structure.texture_frac == pytest.approx(0.002, rel=0.1)
    assert structure.lit_share == 1


def test_a_scene_is_rough() -> None:
    rows, cols = np.indices(SHAPE)
    scene = (0.2 * np.sin(rows / 13) * np.cos(cols / 17)).astype(np.float32)
    structure = measure_structure(flat_frame(scene + noisy(SHAPE, 0.004, 2), 0.004), NONE)
    assert structure.rough_share > 0.5


def test_what_is_brighter_than_the_field_is_no_dust() -> None:
    bright = noisy(SHAPE, 0.004, 3)
    bright[40:80, 60:124] += 0.3  # 2,560 of 98,304 cells
    structure = measure_structure(flat_frame(bright, 0.004), NONE)
    assert structure.bright_share == pytest.approx(2560 / 98304, rel=0.01)


def test_marks_are_no_structure() -> None:
    marks = bell(SHAPE, 128, 190, 8.0, 0.6) + bell(SHAPE, 60, 70, 8.0, 0.6)
    flat = flat_frame(noisy(SHAPE, 0.004, 4) + marks, 0.004)
    assert measure_structure(flat, NONE).rough_share > 0
    marked = marks[::2, ::2] < -0.002
    structure = measure_structure(flat, marked)
    assert structure.rough_share == 0
    assert structure.marked_share == pytest.approx(float(marked.mean()))


def test_a_frame_of_many_strips_and_odd_sides_is_looked_at_whole() -> None:
    shape = (1403, 377)
    contrast, valid = noisy(shape, 0.004, 6), np.ones(shape, bool)
    contrast[100:1300, 40:100] += 0.3
    valid[1000:1100] = False
    marked = np.zeros((702, 189), bool)
    marked[600:650] = True
    structure = measure_structure(flat_frame(contrast, 0.004, valid=valid), marked)
    assert structure.marked_share == 50 / 702
    assert structure.lit_share == pytest.approx(1303 / 1403)
    # 550 rows of squares are bright and usable, 30 squares in each.
    assert structure.bright_share == pytest.approx(550 * 30 / (702 * 189), rel=0.01)
    assert structure.rough_share > 0


def test_dark_parts_and_fall_off_are_told() -> None:
    valid = np.ones(SHAPE, bool)
    valid[:64] = False
    flat = flat_frame(noisy(SHAPE, 0.004, 5), 0.004, valid=valid)
    light = np.tile(np.linspace(0.2, 0.8, SHAPE[1], dtype=np.float32), (SHAPE[0], 1))
    structure = measure_structure(replace(flat, background=light, n_cut_corners=2), NONE)
    assert structure.lit_share == 0.75
    assert structure.n_cut_corners == 2
    # From 0.2 to 0.8, or from the 1st to the 99th percentile, 0.206 to 0.794.
    assert 0.249 < structure.fall_off_frac < 0.26


def test_a_frame_without_a_usable_cell_is_dark() -> None:
    flat = flat_frame(np.zeros(SHAPE, np.float32), 0.004, valid=np.zeros(SHAPE, bool))
    structure = measure_structure(flat, NONE)
    assert structure.lit_share == 0
    assert structure.fall_off_frac == 0
