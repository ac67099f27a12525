"""Outlines at half depth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fields import bell, disc
from motemap.measure.outline import crofton_perimeter, ellipse, extent, ribbon, trace_outline

SHAPE = (90, 130)
ALL = np.ones(SHAPE, bool)


@pytest.mark.parametrize("radius", [10, 25])
def test_perimeter_of_a_disc(radius: int) -> None:
    rows, cols = np.indices(SHAPE)
    mask = np.hypot(rows - 44.3, cols - 60.7) <= radius
    # Four directions know a circle's length to a few per cent.
    assert crofton_perimeter(mask) == pytest.approx(2 * math.pi * radius, rel=0.04)


def test_perimeter_of_a_straight_box() -> None:
    mask = np.zeros(SHAPE, bool)
    mask[20:40, 30:90] = True
    # Worst case of four directions: a straight side along the grid reads 5 % short.
    assert crofton_perimeter(mask) == pytest.approx(160, rel=0.07)


@pytest.mark.parametrize(("width", "length"), [(4.0, 40.0), (6.0, 20.0), (5.0, 5.0)])
def test_a_ribbon_with_round_ends_is_read_off_area_and_perimeter(
    width: float, length: float
) -> None:
    area = width * (length - width) + math.pi * width**2 / 4
    perimeter = 2 * (length - width) + math.pi * width
    assert ribbon(area, perimeter) == pytest.approx((width, length), rel=1e-6)


def test_a_perimeter_shorter_than_a_circle_s_reads_as_a_disc() -> None:
    assert ribbon(math.pi * 9, 10.0) == pytest.approx((6.0, 6.0))


def test_extent_is_the_longest_way_through() -> None:
    mask = np.zeros(SHAPE, bool)
    mask[10, 20:70] = True
    assert extent(mask) == pytest.approx(50)
    slanted = np.eye(40, 60, dtype=bool)
    # 39 steps of a diagonal, and the one cell that any extent has.
    assert extent(slanted) == pytest.approx(39 * math.sqrt(2) + 1)


@pytest.mark.parametrize("sigma", [2.0, 5.0])
def test_a_bell_is_as_wide_as_its_full_width_at_half_depth(sigma: float) -> None:
    outline = trace_outline(-bell(SHAPE, 44.3, 60.7, sigma, 1.0), ALL, 0.5)
    wanted = math.hypot(2.3548 * sigma, 2.3548 / math.sqrt(12))  # a cell's own width
    # The outline runs in straight lines between cells, a twentieth inside a bell of 2 cells.
    assert outline.width_cell == pytest.approx(wanted, rel=0.06)
    assert outline.length_cell == pytest.approx(wanted, rel=0.06)
    assert outline.area_cell2 == pytest.approx(math.pi / 4 * wanted**2, rel=0.11)
    assert outline.straightness == pytest.approx(1, abs=0.05)


def test_only_the_largest_piece_counts() -> None:
    depth = -(disc(SHAPE, 40, 50, 10.0, 1.0) + disc(SHAPE, 40, 90, 4.0, 1.0))
    outline = trace_outline(depth, ALL, 0.5)
    assert outline.area_cell2 == pytest.approx(math.pi * 100, rel=0.03)


def test_cells_outside_do_not_count() -> None:
    depth = -disc(SHAPE, 40, 50, 10.0, 1.0)
    inside = ALL.copy()
    inside[:, 50:] = False
    outline = trace_outline(depth, inside, 0.5)
    assert outline.area_cell2 == pytest.approx(math.pi * 50, rel=0.06)


def test_without_any_cell_below_half_an_outline_is_one_cell() -> None:
    outline = trace_outline(np.zeros(SHAPE, np.float32), ALL, 0.5)
    assert (outline.width_cell, outline.length_cell, outline.area_cell2) == (1, 1, 1)


def test_an_ellipse_of_one_cell_is_round() -> None:
    mask = np.zeros(SHAPE, bool)
    mask[7, 9] = True
    assert ellipse(mask, math.pi) == (2.0, 2.0)
