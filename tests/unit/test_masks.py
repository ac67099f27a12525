"""Pieces of masks, against scipy's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import ndimage

from motemap.masks import Box, grown, label_cells, label_pieces, piece_boxes

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHAPES = [(37, 61), (1, 40), (40, 1), (8, 8)]
SHARES = [0.05, 0.3, 0.5, 0.8]
"""How much of a mask is set: from specks to one piece full of holes."""


def boxes_of(label: NDArray[np.int32]) -> list[Box]:
    rows, cols = np.nonzero(label)
    boxes = piece_boxes(label[rows, cols], rows, cols)
    return [boxes[number] for number in range(len(boxes))]


def drawn(shape: tuple[int, ...], share: float) -> NDArray[np.bool_]:
    return np.random.default_rng(sum(shape)).random(shape) < share


def test_pieces_that_touch_at_corners_are_one() -> None:
    mask = np.array([[1, 0, 0, 1], [0, 1, 0, 1], [0, 0, 0, 0], [1, 1, 0, 0]], bool)
    label = label_pieces(mask)
    assert label.tolist() == [[1, 0, 0, 2], [0, 1, 0, 2], [0, 0, 0, 0], [3, 3, 0, 0]]
    assert boxes_of(label) == [np.s_[0:2, 0:2], np.s_[0:2, 3:4], np.s_[3:4, 0:2]]


def test_a_plane_of_nothing_has_no_boxes() -> None:
    assert boxes_of(np.zeros((2, 3), np.int32)) == []


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("share", SHARES)
def test_pieces_are_counted_in_reading_order_as_by_scipy(
    shape: tuple[int, int], share: float
) -> None:
    mask = drawn(shape, share)
    label = label_pieces(mask)
    same, _ = ndimage.label(mask, np.ones((3, 3)))
    assert np.array_equal(label, same)
    assert label.dtype == np.int32
    assert boxes_of(label) == ndimage.find_objects(label)
    assert np.array_equal(label_pieces(mask, by_corners=False), ndimage.label(mask)[0])


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("share", [0.0, *SHARES])
def test_few_cells_have_the_pieces_of_their_plane(shape: tuple[int, int], share: float) -> None:
    mask = drawn(shape, share)
    cells = np.flatnonzero(mask)
    assert np.array_equal(label_cells(cells, shape[1]), label_pieces(mask).ravel()[cells])


def test_a_piece_that_winds_is_one_piece() -> None:
    rows, cols = np.indices((41, 41))
    rings = np.maximum(np.abs(rows - 20), np.abs(cols - 20)) % 2 == 0
    rings[20:, 20] = True
    assert set(label_cells(np.flatnonzero(rings), 41).tolist()) == {1}


@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize("by_corners", [True, False])
def test_each_mask_of_a_stack_has_its_own_pieces(share: float, *, by_corners: bool) -> None:
    masks = drawn((7, 12, 19), share)
    neighbours = np.zeros((3, 3, 3), bool)
    neighbours[1] = ndimage.generate_binary_structure(2, 2 if by_corners else 1)
    same, _ = ndimage.label(masks, neighbours)
    assert np.array_equal(label_pieces(masks, by_corners=by_corners), same)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("reach", [1, 2, 5])
def test_masks_grow_as_by_scipy(shape: tuple[int, int], reach: int) -> None:
    mask = drawn(shape, 0.03)
    before = mask.copy()
    for corners in (False, True):
        steps = ndimage.generate_binary_structure(2, 2 if corners else 1)
        same = ndimage.binary_dilation(mask, steps, iterations=reach)
        assert np.array_equal(grown(mask, reach, by_corners=corners), same)
    assert np.array_equal(mask, before)
