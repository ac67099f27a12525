"""Distances from marks, and how thick these are, against scipy's exact transform."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from motemap.distances import inner_radius, thicknesses, within
from motemap.records import Cells

ROWS, COLS = np.indices((24, 30))
MARKS = np.stack(
    [
        np.hypot(ROWS - 9, COLS - 12) < 5,
        (np.abs(ROWS - 15) < 2) & (COLS > 4),
        (ROWS == 3) & (COLS == 28),
    ]
)


def test_cells_within_some_distances_are_those_of_the_exact_transform() -> None:
    radii = (1.5, 4.2, 5.0, 7.0)
    for radius, stack in zip(radii, within(MARKS, radii), strict=True):
        for near, mark in zip(stack, MARKS, strict=True):
            assert np.array_equal(near, ndimage.distance_transform_edt(~mark) <= radius)
    (alone,) = within(MARKS[:1], [5.0])
    assert np.array_equal(alone, within(MARKS, [5.0])[0][:1])


def test_thickness_is_that_of_the_largest_disc() -> None:
    masks = [*MARKS, MARKS[0][4:15, 7:18], np.ones((1, 1), bool)]
    exact = [2 * float(ndimage.distance_transform_edt(np.pad(mask, 1)).max()) for mask in masks]
    start = np.zeros((len(masks), 2), np.intp)
    stop = np.array([mask.shape for mask in masks])
    found = thicknesses(Cells.of(masks, start), start, stop)
    assert np.array_equal(found, np.array(exact, np.float32))


def test_one_mask_may_fill_its_box() -> None:
    for mask in (*MARKS, np.ones((7, 30), bool)):
        exact = float(ndimage.distance_transform_edt(np.pad(mask, 1)).max())
        assert inner_radius(mask) == exact


def test_it_does_not_matter_where_in_the_memory_a_mask_lies() -> None:
    rows, cols = np.indices((61, 57))
    mask = (np.hypot(rows - 29, cols - 26) < 25) & ((rows + cols) % 23 > 0)
    exact = float(ndimage.distance_transform_edt(np.pad(mask, 1)).max())
    near = ndimage.distance_transform_edt(~mask) <= 9
    for offset in range(64):
        room = np.zeros(mask.size + 64, bool)
        moved = room[offset : offset + mask.size].reshape(mask.shape)
        moved[...] = mask
        assert inner_radius(moved) == exact
        assert np.array_equal(within(moved[None], [9])[0][0], near)
