"""Box statistics on a mesh, and the way back to every cell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from motemap.mesh import (
    box_starts,
    box_statistic,
    fill_gaps,
    median_of_rows,
    scatter_of_rows,
    spline_matrix,
    straight_between,
    surface_of_mesh,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

NAN = np.nan


def rows_of(*values: list[float]) -> NDArray[np.float32]:
    return np.array(values, np.float32)


@pytest.mark.parametrize(
    ("n_cells", "box_cells", "starts", "side"),
    [
        (15, 5, [0, 5, 10], 5),
        (16, 5, [0, 6, 11], 5),  # one cell is left over between two boxes
        (14, 5, [0, 6, 11], 3),  # sides are odd
        (7, 100, [0, 4], 3),  # never fewer than two boxes
        (1, 8, [0, 0], 1),
    ],
)
def test_boxes_reach_from_border_to_border(
    n_cells: int, box_cells: int, starts: list[int], side: int
) -> None:
    found, found_side = box_starts(n_cells, box_cells)
    assert found.tolist() == starts
    assert found_side == side
    assert found[-1] + found_side == n_cells


def test_statistic_sees_each_box_once() -> None:
    # Six boxes of 3 x 3 in a 6 x 9 plane; a box's sum is nine times its middle cell.
    plane = np.arange(54, dtype=np.float32).reshape(6, 9)
    mesh = box_statistic(plane, 3, lambda values: values.sum(axis=1))
    assert mesh.tolist() == [[90, 117, 144], [333, 360, 387]]


def test_stride_looks_at_every_second_cell_about_the_same_middle() -> None:
    plane = np.arange(54, dtype=np.float32).reshape(6, 9)
    mesh = box_statistic(plane, 3, lambda values: values.sum(axis=1), stride=2)
    assert mesh.tolist() == [[40, 52, 64], [148, 160, 172]]


@pytest.mark.parametrize(
    ("row", "median"),
    [
        ([3, 1, 2], 2),
        ([9, NAN, 1, NAN, 5], 5),
        ([NAN, 4, NAN], 4),
        ([4, NAN, 2], 2),  # of an even number the lower of the middle two
    ],
)
def test_median_leaves_out_what_does_not_count(row: list[float], median: float) -> None:
    assert median_of_rows(rows_of(row)).tolist() == [median]


def test_median_of_nothing_is_unknown() -> None:
    assert np.isnan(median_of_rows(rows_of([NAN, NAN], [1, NAN]))).tolist() == [True, False]


def test_scatter_is_the_scaled_median_deviation() -> None:
    # Median 10, deviations 0 1 1 2 90: their median is 1; one wild value changes nothing.
    assert scatter_of_rows(rows_of([10, 9, 11, 8, 100])) == pytest.approx([1.4826])


@pytest.mark.parametrize("degree", [1, 3])
@pytest.mark.parametrize(("n_cells", "box_cells"), [(97, 13), (30, 15), (5, 3)])
def test_a_level_mesh_spreads_to_a_level_plane(n_cells: int, box_cells: int, degree: int) -> None:
    assert spline_matrix(n_cells, box_cells, degree).sum(axis=1) == pytest.approx(1, abs=1e-5)


def test_straight_slopes_go_on_to_the_borders() -> None:
    shape, box = (90, 140), 10
    rows, cols = np.indices(shape)
    plane = (0.002 * rows - 0.001 * cols + 1).astype(np.float32)
    mesh = box_statistic(plane, box, lambda values: values.mean(axis=1))
    # Clamping to the outermost box centres would be wrong by 4.5 cells of slope, 0.009. Boxes
    # begin at whole cells and so lie unevenly by up to a cell, a tenth of which comes through.
    assert np.abs(surface_of_mesh(mesh, shape, box)[:, :] - plane).max() < 3e-4


def test_parabolas_are_followed_between_even_boxes() -> None:
    shape, box = (63, 99), 9
    rows, cols = np.indices(shape)
    plane = (1e-4 * (rows - 30) ** 2 - 5e-5 * (cols - 40) ** 2).astype(np.float32)
    middles = plane[4::9, 4::9]
    inner = np.s_[13:50, 13:86]  # one box in from the rim, where both neighbours are known
    assert surface_of_mesh(middles, shape, box)[inner] == pytest.approx(plane[inner], abs=1e-6)


def test_box_values_are_met_at_box_centres() -> None:
    values = np.random.default_rng(1).normal(size=(7, 11)).astype(np.float32)
    assert surface_of_mesh(values, (63, 99), 9)[4::9, 4::9] == pytest.approx(values, abs=1e-5)


def test_straight_lines_never_leave_the_range_of_the_boxes() -> None:
    wild = np.array([0, 0, 1, 0, 5, 0], np.float32)
    along = spline_matrix(60, 10, 1) @ wild
    assert along.min() >= 0
    assert along.max() <= 5


def test_spline_matrix_cannot_be_changed_by_its_users() -> None:
    with pytest.raises(ValueError, match="read-only"):
        spline_matrix(40, 10)[0, 0] = 9


def test_gaps_are_filled_from_their_rim_inwards() -> None:
    mesh = rows_of([1, 1, 1, 1], [1, NAN, NAN, 1], [1, 1, 1, 1])
    before = mesh.copy()
    assert fill_gaps(mesh).tolist() == np.ones((3, 4)).tolist()
    assert np.array_equal(mesh, before, equal_nan=True)


def test_a_wide_gap_takes_the_nearest_values() -> None:
    filled = fill_gaps(rows_of([2, NAN, NAN, NAN, 8]))
    assert filled[0].tolist() == [2, 2, 5, 8, 8]


def test_a_mesh_without_any_value_stays_unknown() -> None:
    assert np.isnan(fill_gaps(rows_of([NAN, NAN], [NAN, NAN]))).all()


@pytest.mark.parametrize(("n_cells", "box_cells"), [(24, 40), (94, 20), (1500, 48), (7, 3)])
def test_a_line_of_boxes_is_carried_to_cells_as_a_matrix_would(
    n_cells: int, box_cells: int
) -> None:
    n_boxes = box_starts(n_cells, box_cells)[0].size
    values = np.random.default_rng(n_cells).uniform(1.0, 1e7, n_boxes)
    carried = straight_between(values, n_cells, box_cells)
    matrix = spline_matrix(n_cells, box_cells, 1).astype(np.float64)
    assert carried.shape == (n_cells,)
    assert carried == pytest.approx((matrix * values).sum(axis=1), rel=1e-5)
