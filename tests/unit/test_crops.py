"""Crops of one size, and the cells of many masks."""

from __future__ import annotations

import numpy as np

from motemap.crops import Cells, crops_round

SHAPE = (50, 71)
PLANE = np.arange(50 * 71, dtype=np.float32).reshape(SHAPE)
BOXES = [
    (slice(0, 5), slice(0, 6)),
    (slice(20, 25), slice(30, 37)),
    (slice(44, 50), slice(64, 71)),
    (slice(10, 40), slice(3, 50)),
]
PADS = np.array([2, 4, 3, 5])


def test_each_box_lies_in_one_crop_with_the_cells_round_it_that_there_are() -> None:
    seen = []
    for members, crops in crops_round(BOXES, PADS, SHAPE):
        boxes = [BOXES[member] for member in members]
        for member, cut, within in zip(members, crops.cut(PLANE), crops.within(boxes), strict=True):
            assert np.array_equal(cut[within], PLANE[BOXES[member]])
            for inner, side, n_cells, length in zip(
                within, BOXES[member], SHAPE, cut.shape, strict=True
            ):
                assert inner.start >= min(PADS[member], side.start)
                assert length - inner.stop >= min(PADS[member], n_cells - side.stop)
        seen += members
    assert sorted(seen) == [0, 1, 2, 3]


def test_small_boxes_share_a_stack_and_a_large_one_has_its_own_size() -> None:
    stacks = [(members, crops.shape) for members, crops in crops_round(BOXES, PADS, SHAPE)]
    assert stacks == [([0, 1, 2], (16, 16)), ([3], (40, 55))]


def test_no_boxes_give_no_crops() -> None:
    assert list(crops_round([], np.empty(0, np.intp), SHAPE)) == []


def test_cells_are_told_from_the_squares_that_they_lie_in() -> None:
    squares = np.arange(25 * 36).reshape(25, 36)
    by_cells = np.repeat(np.repeat(squares, 2, axis=0), 2, axis=1)[:, :71]
    for members, crops in crops_round(BOXES, PADS, SHAPE):
        masks = [
            np.ones((box[0].stop - box[0].start, box[1].stop - box[1].start), bool) for box in BOXES
        ]
        boxes = [BOXES[member] for member in members]
        laid = crops.laid([masks[member] for member in members], boxes)
        for member, cells, mask in zip(members, crops.cells(squares, 2), laid, strict=True):
            assert np.array_equal(cells[mask], by_cells[BOXES[member]].ravel())
            assert np.count_nonzero(mask) == masks[member].size


def test_cells_of_masks_are_listed_mask_by_mask() -> None:
    masks = [np.array([[True, False], [True, True], [False, False]]), np.array([[False, True]])]
    cells = Cells.of(masks, [(10, 20), (3, 5)])
    assert cells.mask.tolist() == [0, 0, 0, 1]
    assert cells.row.tolist() == [10, 11, 11, 3]
    assert cells.col.tolist() == [20, 20, 21, 6]
    assert cells.middles().tolist() == [[32 / 3, 61 / 3], [3, 6]]
    some = cells.only(np.array([False, True, True, True]))
    assert (some.mask.tolist(), some.row.tolist(), some.n_masks) == ([0, 0, 1], [11, 11, 3], 2)
    start, stop = cells.sides()
    assert start.tolist() == [[10, 3], [20, 6]]
    assert stop.tolist() == [[12, 4], [22, 7]]
    assert cells.largest(np.array([1, 7, 2, -4], np.float32)).tolist() == [7, -4]


def test_an_empty_mask_among_others_has_no_cells() -> None:
    masks = [np.zeros((2, 2), bool), np.ones((1, 2), bool), np.zeros((1, 3), bool)]
    assert Cells.of(masks, [(0, 0)] * 3).mask.tolist() == [1, 1]


def test_cells_of_a_plane_are_those_of_its_windows() -> None:
    for members, crops in crops_round(BOXES, PADS, SHAPE):
        boxes = [BOXES[member] for member in members]
        for cells, within, box in zip(crops.cells(PLANE), crops.within(boxes), boxes, strict=True):
            assert np.array_equal(cells[within], PLANE[box])


def test_no_masks_have_no_cells() -> None:
    cells = Cells.of([], [])
    assert (cells.row.size, cells.n_masks) == (0, 0)
