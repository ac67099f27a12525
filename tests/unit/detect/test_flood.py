"""Flooding a region from its peaks down."""

from __future__ import annotations

import numpy as np
import pytest

from fields import bell
from motemap.detect.flood import share_out

SHAPE = (31, 57)


def test_heights_in_one_row_can_be_followed_by_hand() -> None:
    # Peaks 9 and 7; the summit 5 between them is no peak and falls to 9 across the higher pass.
    depth = np.array([[1, 9, 4, 5, 2, 7, 1]], np.float32)
    inside = np.ones(depth.shape, bool)
    assert share_out(depth, inside, [(0, 1), (0, 5)]).tolist() == [[1, 1, 1, 1, 2, 2, 2]]
    assert share_out(depth, inside, [(0, 5), (0, 1)]).tolist() == [[2, 2, 2, 2, 1, 1, 1]]


def test_one_peak_takes_all() -> None:
    depth = np.array([[1, 2, 1, 3]], np.float32)
    inside = np.array([[True, True, True, False]])
    assert share_out(depth, inside, [(0, 1)]).tolist() == [[1, 1, 1, 0]]


@pytest.mark.parametrize("gap", [8, 11, 14])
def test_two_equal_dips_are_cut_in_the_middle(gap: int) -> None:
    depth = -(bell(SHAPE, 15, 20, 3.0, 0.1) + bell(SHAPE, 15, 20 + gap, 3.0, 0.1))
    inside = depth > 0.001
    shares = share_out(depth, inside, [(15, 20), (15, 20 + gap)])
    assert np.array_equal(shares > 0, inside)
    rows, cols = np.nonzero(inside)
    on_one_side = cols != 20 + gap / 2  # the ridge itself may go either way
    wanted = np.where(cols < 20 + gap / 2, 1, 2)
    assert np.array_equal(shares[rows, cols][on_one_side], wanted[on_one_side])


def test_a_deep_mark_keeps_to_its_side_of_the_pass() -> None:
    depth = -(bell(SHAPE, 15, 20, 3.0, 0.5) + bell(SHAPE, 15, 38, 3.0, 0.05))
    inside = depth > 0.001
    shares = share_out(depth, inside, [(15, 20), (15, 38)])
    # 0.5 exp(-a^2/18) = 0.05 exp(-(18-a)^2/18) at a = 10.2 cells from the deep one.
    pass_col = int(np.argmax(shares[15] == 2))
    assert pass_col == pytest.approx(30.2 + 0.5, abs=1)


def test_inputs_are_left_alone() -> None:
    depth = np.array([[1, 9, 4, 7, 1]], np.float32)
    inside = np.ones(depth.shape, bool)
    depth.setflags(write=False)
    inside.setflags(write=False)
    assert share_out(depth, inside, [(0, 1), (0, 3)]).tolist() == [[1, 1, 1, 2, 2]]
