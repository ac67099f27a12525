"""Distances from marks, and how thick these are, against scipy's exact transform."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import ndimage

from motemap.distances import cells_between, distances2, inner_radius, thicknesses, within
from motemap.records import Cells

if TYPE_CHECKING:
    from numpy.typing import NDArray

ROWS, COLS = np.indices((24, 30))
MARKS = np.stack(
    [
        np.hypot(ROWS - 9, COLS - 12) < 5,
        (np.abs(ROWS - 15) < 2) & (COLS > 4),
        (ROWS == 3) & (COLS == 28),
    ]
)


def test_distances_are_exact_within_the_reach() -> None:
    apart2 = distances2(MARKS, 6)
    for own, mark in zip(apart2, MARKS, strict=True):
        exact = ndimage.distance_transform_edt(~mark) ** 2
        assert own[exact <= 36] == pytest.approx(exact[exact <= 36], abs=1e-9)
        assert (own[exact > 36] > 36).all()


def test_a_map_by_itself_is_the_same() -> None:
    exact = np.rint(ndimage.distance_transform_edt(~MARKS[0]) ** 2)
    assert np.array_equal(distances2(MARKS[:1], 6)[0], exact)


def test_cells_within_some_distances_are_those_of_the_exact_transform() -> None:
    # As far from the sides as the largest distance.
    marks = np.pad(MARKS, ((0, 0), (0, 0), (7, 7)))
    radii = (1.5, 4.2, 7.0)
    for radius, stack in zip(radii, within(marks, radii), strict=True):
        for near, mark in zip(stack, marks, strict=True):
            assert np.array_equal(near, ndimage.distance_transform_edt(~mark) <= radius)
    (alone,) = within(marks[:1], [4.2])
    assert np.array_equal(alone, within(marks, [4.2])[0][:1])


def test_thickness_is_that_of_the_largest_disc() -> None:
    masks = [*MARKS, MARKS[0][4:15, 7:18], np.ones((1, 1), bool)]
    exact = [2 * float(ndimage.distance_transform_edt(np.pad(mask, 1)).max()) for mask in masks]
    start = np.zeros((len(masks), 2), np.intp)
    stop = np.array([mask.shape for mask in masks])
    assert thicknesses(Cells.of(masks, start), start, stop) == pytest.approx(exact, rel=1e-6)


def test_one_mask_may_fill_its_box() -> None:
    for mask in (*MARKS, np.ones((7, 30), bool)):
        exact = float(ndimage.distance_transform_edt(np.pad(mask, 1)).max())
        assert inner_radius(mask) == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("marks", [MARKS, MARKS[:1]])
def test_rings_are_those_of_exact_distances(marks: NDArray[np.bool_]) -> None:
    for ring, mark in zip(cells_between(marks, 2, 6), marks, strict=True):
        exact = ndimage.distance_transform_edt(~mark)
        assert np.array_equal(ring, (exact > 2) & (exact <= 6))
