"""What lies round a mark."""

from __future__ import annotations

import numpy as np
import pytest

from motemap.detect.surroundings import look_around

SHAPE = (41, 51)
ROWS, COLS = np.indices(SHAPE)
DISTANCE = np.hypot(ROWS - 20, COLS - 25)
MARK = DISTANCE <= 5
ALL = np.ones(SHAPE, bool)


def test_a_mark_alone_is_closed() -> None:
    contrast = np.where(MARK, -0.1, 0).astype(np.float32)
    around = look_around(contrast, MARK, ALL, 1, 6, 0.1)
    assert (around.open_share, around.level_frac, around.n_sectors) == (0, 0, 12)


def test_a_mark_on_a_darker_ground_is_measured_against_that() -> None:
    contrast = np.where(MARK, -0.12, -0.02).astype(np.float32)
    around = look_around(contrast, MARK, ALL, 1, 6, 0.1)
    assert around.level_frac == pytest.approx(-0.02)
    assert around.open_share == 0


def test_a_stripe_is_open_at_both_ends() -> None:
    contrast = np.where(np.abs(ROWS - 20) <= 5, -0.1, 0).astype(np.float32)
    around = look_around(contrast, MARK, ALL, 1, 6, 0.1)
    # Six of twelve sectors of 30 degrees lie within 5 cells of the middle row at 7-11 cells away.
    assert around.open_share == pytest.approx(0.5, abs=0.17)


def test_cells_of_other_marks_do_not_count() -> None:
    contrast = np.where(MARK, -0.1, 0).astype(np.float32)
    neighbour = np.s_[12:29, 31:45]
    contrast[neighbour] = -0.3
    usable = ALL.copy()
    assert look_around(contrast, MARK, usable, 1, 6, 0.1).open_share > 0
    usable[neighbour] = False
    assert look_around(contrast, MARK, usable, 1, 6, 0.1).open_share == 0


def test_without_a_ring_nothing_can_be_told() -> None:
    around = look_around(np.zeros(SHAPE, np.float32), MARK, np.zeros(SHAPE, bool), 1, 6, 0.1)
    assert (around.n_sectors, around.open_share) == (0, 1)
