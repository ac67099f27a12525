"""Outlines at half depth."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell, disc
from motemap.measure.outline import ribbon, trace_outlines

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.measure.outline import Outlines

SHAPE = (90, 130)
ALL = np.zeros(SHAPE, bool)
ALL[1:-1, 1:-1] = True
"""An outline never reaches the border of its map."""


def trace(
    depth: NDArray[np.float32], half: float = 0.5, inside: NDArray[np.bool_] = ALL
) -> Outlines:
    """Trace one mark."""
    return trace_outlines(depth[None], inside[None], np.array([half], np.float32))


@pytest.mark.parametrize(("radius", "rel"), [(3.0, 0.02), (10.0, 0.002), (25.0, 0.001)])
def test_area_and_sides_of_a_disc(radius: float, rel: float) -> None:
    outline = trace(-disc(SHAPE, 44.3, 60.7, radius, 1.0))
    # Straight pieces a cell long lie inside the circle by 1/(8 r) cells at most, of which
    # less than half is given back.
    assert outline.area_cell2[0] == pytest.approx(math.pi * radius**2, rel=rel)
    assert outline.width_cell[0] == pytest.approx(2 * radius, rel=rel)
    assert outline.length_cell[0] == pytest.approx(2 * radius, rel=rel)
    assert outline.hole_frac[0] == 0


def test_a_straight_box_is_a_ribbon() -> None:
    depth = np.zeros(SHAPE, np.float32)
    depth[40:46, 30:90] = 1.0
    outline = trace(depth)
    # Area 360, perimeter 132, each less what the cut corners take: a ribbon of round ends.
    (width,), (length,) = ribbon(np.array([360.0]), np.array([132.0 - 4 * (1 - math.sqrt(0.5))]))
    # Cut corners take an eighth of a cell each; some of it is given back, as to all bends.
    assert outline.area_cell2[0] == pytest.approx(360, abs=0.5)
    assert outline.width_cell[0] == pytest.approx(width, rel=0.01)
    assert outline.length_cell[0] == pytest.approx(length, rel=0.01)


def test_an_ellipse_has_its_axes_whichever_way_it_lies() -> None:
    rows, cols = np.indices(SHAPE)
    for angle in (0.0, 0.5, 1.3):
        along = (cols - 60.7) * math.cos(angle) + (rows - 44.3) * math.sin(angle)
        across = (rows - 44.3) * math.cos(angle) - (cols - 60.7) * math.sin(angle)
        # A cone over an ellipse of 12 x 20 cells: half its depth is reached on that ellipse.
        cone = 1 - 0.5 * np.hypot(along / 10, across / 6)
        outline = trace(cone.astype(np.float32))
        assert outline.width_cell[0] == pytest.approx(12, rel=0.01)
        assert outline.length_cell[0] == pytest.approx(20, rel=0.01)


@pytest.mark.parametrize(("width", "length"), [(4.0, 40.0), (6.0, 20.0), (5.0, 5.0)])
def test_a_ribbon_with_round_ends_is_read_off_area_and_perimeter(
    width: float, length: float
) -> None:
    area = width * (length - width) + math.pi * width**2 / 4
    perimeter = 2 * (length - width) + math.pi * width
    (found_width,), (found_length,) = ribbon(np.array([area]), np.array([perimeter]))
    assert (found_width, found_length) == pytest.approx((width, length), rel=1e-6)


def test_a_perimeter_shorter_than_a_circle_s_reads_as_a_disc() -> None:
    (width,), (length,) = ribbon(np.array([math.pi * 9]), np.array([10.0]))
    assert (width, length) == pytest.approx((6.0, 6.0))


@pytest.mark.parametrize("sigma", [2.0, 5.0])
def test_a_bell_is_as_wide_as_its_full_width_at_half_depth(sigma: float) -> None:
    outline = trace(-bell(SHAPE, 44.3, 60.7, sigma, 1.0))
    wanted = math.hypot(2.3548 * sigma, 2.3548 / math.sqrt(12))  # a cell's own width
    # The outline runs in straight lines between cells, a thirtieth inside a bell of 2 cells.
    assert outline.width_cell[0] == pytest.approx(wanted, rel=0.04)
    assert outline.length_cell[0] == pytest.approx(wanted, rel=0.04)
    assert outline.area_cell2[0] == pytest.approx(math.pi / 4 * wanted**2, rel=0.07)


def test_only_the_largest_piece_counts() -> None:
    depth = -(disc(SHAPE, 40, 50, 10.0, 1.0) + disc(SHAPE, 40, 90, 4.0, 1.0))
    assert trace(depth).area_cell2[0] == pytest.approx(math.pi * 100, rel=0.01)


def test_pieces_that_touch_at_a_corner_are_one() -> None:
    depth = np.zeros(SHAPE, np.float32)
    depth[20:30, 40:50] = depth[30:40, 50:60] = 1.0
    # Each square of 100 cells loses an eighth of a cell at each corner.
    assert trace(depth, 0.49).area_cell2[0] == pytest.approx(200, rel=0.02)


def test_cells_outside_do_not_count() -> None:
    inside = ALL.copy()
    inside[:, 50:] = False
    outline = trace(-disc(SHAPE, 40, 50, 10.0, 1.0), inside=inside)
    assert outline.area_cell2[0] == pytest.approx(math.pi * 50, rel=0.06)


def test_the_edge_of_the_picture_ends_an_outline() -> None:
    # A half disc on the left edge of the picture, mirrored beyond it.
    depth = -disc(SHAPE, 44.0, 59.5, 10.0, 1.0)
    in_frame = np.ones(SHAPE, bool)
    in_frame[:, :60] = False
    inside = (ALL & in_frame)[None]
    half = np.array([0.5], np.float32)
    outline = trace_outlines(depth[None], inside, half, in_frame[None])
    assert outline.area_cell2[0] == pytest.approx(math.pi * 50, rel=0.01)


@pytest.mark.parametrize("inner", [3.0, 7.0])
def test_a_hole_is_told_by_its_share(inner: float) -> None:
    ring = disc(SHAPE, 44, 60, 12.0, 1.0) - disc(SHAPE, 44, 60, inner, 1.0)
    outline = trace(-ring)
    # Straight pieces take 3 % from a hole of 3 cells, as from a disc of that size.
    assert outline.hole_frac[0] == pytest.approx(inner**2 / 144, rel=0.05)
    assert outline.area_cell2[0] == pytest.approx(math.pi * (144 - inner**2), rel=0.01)


def test_a_round_ring_encloses_most_and_one_with_a_loose_end_less() -> None:
    ring = -(disc(SHAPE, 44, 40, 12.0, 1.0) - disc(SHAPE, 44, 40, 7.0, 1.0))
    # About a middle line of radius 9.5, both outlines enclose pi (9.5^2 + 2.5^2) midway.
    assert trace(ring).hoop_frac[0] == pytest.approx(1 + (2.5 / 9.5) ** 2, rel=0.02)
    with_end = ring.copy()
    with_end[42:47, 51:92] = 1.0
    # Its end, 40 cells of 5, adds to the 60 of the ring, and half its area to what lies midway.
    midway = math.pi * (9.5**2 + 2.5**2) + 40 * 5 / 2
    wanted = 4 * math.pi * midway / (2 * math.pi * 9.5 + 40) ** 2
    assert trace(with_end).hoop_frac[0] == pytest.approx(wanted, rel=0.05)
    assert trace(-disc(SHAPE, 44, 40, 12.0, 1.0)).hoop_frac[0] == 1


@pytest.mark.parametrize("half", [0.5, 0.0, -0.5])
def test_without_any_cell_below_half_an_outline_is_one_cell(half: float) -> None:
    # Half of a mark that gains light is negative: no outline, not one round everything.
    outline = trace(np.full(SHAPE, min(2 * half, 0.0), np.float32), half)
    assert outline.width_cell.tolist() == [1]
    assert outline.length_cell.tolist() == [1]
    assert outline.area_cell2.tolist() == [1]
    assert outline.hole_frac.tolist() == [0]


def test_many_outlines_at_once_are_those_one_by_one() -> None:
    ring = -(disc(SHAPE, 44, 60, 12.0, 0.4) - disc(SHAPE, 44, 60, 7.0, 0.4))
    two = -(disc(SHAPE, 30, 40, 6.0, 1.0) + disc(SHAPE, 60, 90, 4.0, 1.0))
    maps = np.stack([-bell(SHAPE, 44.3, 60.7, 3.0, 1.0), ring, two, np.zeros(SHAPE, np.float32)])
    halves = np.array([0.5, 0.2, 0.5, 0.0], np.float32)
    together = trace_outlines(maps, np.broadcast_to(ALL, maps.shape), halves)
    for index, (depth, half) in enumerate(zip(maps, halves.tolist(), strict=True)):
        alone = trace(depth, half)
        for name in ("area_cell2", "width_cell", "length_cell", "hole_frac", "hoop_frac"):
            assert getattr(together, name)[index] == pytest.approx(getattr(alone, name)[0])
