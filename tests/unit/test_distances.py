"""Distances from marks, and how thick these are, against scipy's exact transform."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import ndimage

from motemap.distances import cells_between, distances2, inner_radius, thicknesses_of

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


def test_thickness_is_that_of_the_largest_disc() -> None:
    masks = [*MARKS, MARKS[0][4:15, 7:18], np.ones((1, 1), bool)]
    exact = [2 * float(ndimage.distance_transform_edt(np.pad(mask, 1)).max()) for mask in masks]
    assert thicknesses_of(masks) == pytest.approx(exact, rel=1e-6)


def test_one_mask_may_fill_its_box() -> None:
    for mask in (*MARKS, np.ones((7, 30), bool)):
        exact = float(ndimage.distance_transform_edt(np.pad(mask, 1)).max())
        assert inner_radius(mask) == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("marks", [MARKS, MARKS[:1]])
def test_rings_are_those_of_exact_distances(marks: NDArray[np.bool_]) -> None:
    for ring, mark in zip(cells_between(marks, 2, 6), marks, strict=True):
        exact = ndimage.distance_transform_edt(~mark)
        assert np.array_equal(ring, (exact > 2) & (exact <= 6))
