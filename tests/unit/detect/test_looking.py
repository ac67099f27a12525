"""Looking into connected pieces cell by cell."""

from __future__ import annotations

import numpy as np
import pytest

from fields import bell, flat_frame, noisy
from motemap.detect.levels import Search
from motemap.detect.looking import look_into
from motemap.detect.pieces import find_pieces

SHAPE, NOISE = (61, 87), 0.002


@pytest.mark.parametrize(("level", "is_followed"), [(0, True), (1, False)])
def test_squares_that_hold_nothing_of_a_followed_piece_are_given_free(
    level: int, *, is_followed: bool
) -> None:
    # A dip of sigma 1.5 in the middle of a piece of 14 x 14 squares: its cells lie in few of them.
    contrast = noisy(SHAPE, NOISE, 1) + bell(SHAPE, 30, 40, 1.5, 0.2)
    label = np.zeros((31, 44), np.int32)
    label[8:22, 13:27] = level + 1
    search = Search(label.copy(), (label > 0).astype(np.float32) * 30, (), SHAPE)
    flat = flat_frame(contrast, NOISE)
    clumps = look_into(flat, search, find_pieces(flat, search))
    assert len(clumps) == 1
    held = np.zeros(label.shape, bool)
    held[clumps.cells.row // 2, clumps.cells.col // 2] = True
    assert (np.count_nonzero(held) < 30) == is_followed
    assert search.label.tolist() == np.where(held, label, 0).tolist()
