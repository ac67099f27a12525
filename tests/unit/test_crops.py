"""Crops of one size, stacked."""

from __future__ import annotations

import numpy as np

from motemap.crops import crops_round
from motemap.masks import Boxes
from motemap.records import Cells

SHAPE = (50, 71)
PLANE = np.arange(50 * 71, dtype=np.float32).reshape(SHAPE)
BOXES = Boxes(
    start=np.array([(0, 0), (20, 30), (44, 64), (10, 3)]),
    stop=np.array([(5, 6), (25, 37), (50, 71), (40, 50)]),
)
PADS = np.array([2, 4, 3, 5])


def test_each_box_lies_in_one_crop_with_the_cells_round_it_that_there_are() -> None:
    seen = []
    for members, crops in crops_round(BOXES, PADS, SHAPE):
        corners = np.stack([crops.top, crops.left], axis=1)
        for member, cut, corner in zip(members.tolist(), crops.cut(PLANE), corners, strict=True):
            start, stop = BOXES.start[member] - corner, BOXES.stop[member] - corner
            inside = cut[start[0] : stop[0], start[1] : stop[1]]
            assert np.array_equal(inside, PLANE[BOXES[member]])
            assert (start >= np.minimum(PADS[member], BOXES.start[member])).all()
            assert (cut.shape - stop >= np.minimum(PADS[member], SHAPE - BOXES.stop[member])).all()
        seen += members.tolist()
    assert sorted(seen) == [0, 1, 2, 3]


def test_small_boxes_share_a_stack_and_a_large_one_has_its_own_size() -> None:
    stacks = [(members.tolist(), crops.shape) for members, crops in crops_round(BOXES, PADS, SHAPE)]
    assert stacks == [([0, 1, 2], (16, 16)), ([3], (40, 55))]


def test_no_boxes_give_no_crops() -> None:
    none = BOXES.only(np.empty(0, np.intp))
    assert list(crops_round(none, np.empty(0, np.intp), SHAPE)) == []


def test_cells_are_told_from_the_squares_that_they_lie_in() -> None:
    squares = np.arange(25 * 36).reshape(25, 36)
    by_cells = np.repeat(np.repeat(squares, 2, axis=0), 2, axis=1)[:, :71]
    for _, crops in crops_round(BOXES, PADS, SHAPE):
        assert np.array_equal(crops.cells(squares, 2), crops.cells(by_cells))


def test_cells_of_a_plane_are_those_of_its_windows() -> None:
    for _, crops in crops_round(BOXES, PADS, SHAPE):
        assert np.array_equal(crops.cells(PLANE), crops.cut(PLANE))


def test_smaller_crops_within_hold_the_boxes_as_well() -> None:
    for members, crops in crops_round(BOXES, PADS, SHAPE):
        boxes = BOXES.only(members)
        inner = crops.inner(boxes)
        assert inner.shape == tuple((boxes.stop - boxes.start).max(axis=0))
        assert np.array_equal(crops.part(crops.cut(PLANE), inner), inner.cut(PLANE))
        for corners, side, axis in (
            (inner.top, inner.shape[0], 0),
            (inner.left, inner.shape[1], 1),
        ):
            assert (corners <= boxes.start[:, axis]).all()
            assert (corners + side >= boxes.stop[:, axis]).all()


def test_cells_that_are_drawn_are_those_that_are_listed() -> None:
    for members, crops in crops_round(BOXES, PADS, SHAPE):
        masks = [np.ones(BOXES.stop[member] - BOXES.start[member], bool) for member in members]
        for mask in masks:
            mask[1, 2:4] = False
        cells = Cells.of(masks, BOXES.start[members])
        drawn = crops.drawn(cells)
        assert np.count_nonzero(drawn) == sum(map(np.count_nonzero, masks))
        listed, place = crops.listed(drawn)
        assert np.array_equal(drawn.ravel()[place], np.ones(len(place)))
        for name in ("first", "row", "col"):
            assert np.array_equal(getattr(listed, name), getattr(cells, name))
