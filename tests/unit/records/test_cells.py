"""The cells of many masks."""

from __future__ import annotations

import numpy as np

from motemap.records import Cells

MASKS = [np.array([[True, False], [True, True], [False, False]]), np.array([[False, True]])]
CELLS = Cells.of(MASKS, [(10, 20), (3, 5)])


def test_cells_of_masks_are_listed_mask_by_mask() -> None:
    assert CELLS.mask.tolist() == [0, 0, 0, 1]
    assert CELLS.row.tolist() == [10, 11, 11, 3]
    assert CELLS.col.tolist() == [20, 20, 21, 6]
    assert CELLS.counts.tolist() == [3, 1]
    assert CELLS.middles().tolist() == [[32 / 3, 61 / 3], [3, 6]]
    start, stop = CELLS.sides()
    assert start.tolist() == [[10, 20], [3, 6]]
    assert stop.tolist() == [[12, 22], [4, 7]]
    assert CELLS.largest(np.array([1, 7, 2, -4], np.float32)).tolist() == [7, -4]


def test_some_cells_are_kept_with_their_masks() -> None:
    some = CELLS.only(np.array([False, True, True, False]))
    assert (some.mask.tolist(), some.row.tolist(), some.n_masks) == ([0, 0], [11, 11], 2)


def test_some_masks_are_taken_in_any_order() -> None:
    turned = CELLS.of_masks(np.array([1, 0, 1]))
    assert turned.mask.tolist() == [0, 1, 1, 1, 2]
    assert turned.row.tolist() == [3, 10, 11, 11, 3]
    assert turned.col.tolist() == [6, 20, 20, 21, 6]


def test_lists_are_joined_and_their_cells_laid_to_other_masks() -> None:
    both = Cells.joined([CELLS, CELLS])
    assert both.mask.tolist() == [0, 0, 0, 1, 2, 2, 2, 3]
    laid, order = both.numbered(np.array([2, 0, 2, 0, 0, 2, 2, 2]), 4)
    assert laid.counts.tolist() == [3, 0, 5, 0]
    assert order.tolist() == [1, 3, 4, 0, 2, 5, 6, 7]
    assert np.array_equal(laid.row, both.row[order])
    assert np.array_equal(laid.col, both.col[order])


def test_an_empty_mask_among_others_has_no_cells() -> None:
    masks = [np.zeros((2, 2), bool), np.ones((1, 2), bool), np.zeros((1, 3), bool)]
    assert Cells.of(masks, [(0, 0)] * 3).mask.tolist() == [1, 1]


def test_no_masks_have_no_cells() -> None:
    cells = Cells.of([], [])
    assert (cells.row.size, cells.n_masks) == (0, 0)
    assert cells.middles().shape == (0, 2)
