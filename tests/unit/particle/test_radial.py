"""Rings about a mark, on fields that can be counted by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell, disc, flat_frame
from motemap.coords import FramePoint
from motemap.particle.cover import Cover
from motemap.particle.radial import radial_cells, ring_means, rings
from motemap.particle.sites import Sites
from motemap.records import MeasuredSpot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.particle.radial import RadialCells

SHAPE = (61, 83)
SPOT = MeasuredSpot(
    centre=FramePoint(row_px=30.0, col_px=40.0),
    depth_frac=0.3,
    snr=100.0,
    width_px=8.0,
    length_px=8.0,
    lost_area_px2=30.0,
)


def test_middle_of_a_cell_of_several_pixels() -> None:
    # The first cell of three pixels has its middle on pixel 1, the second on pixel 4.
    spot = replace(SPOT, centre=FramePoint(row_px=1.0, col_px=4.0))
    coarse, fine = Sites.of([spot], 3), Sites.of([spot], 1)
    assert (coarse.row[0], coarse.col[0]) == (0.0, 1.0)
    assert (fine.row[0], fine.col[0]) == (1.0, 4.0)


def cells_round(
    contrast: NDArray[np.float32],
    reach_cell: float,
    *,
    spot: MeasuredSpot = SPOT,
    valid: NDArray[np.bool_] | None = None,
    near: Sequence[MeasuredSpot] = (),
) -> RadialCells:
    """Cut out one mark; those near it hide as much as they are wide."""
    flat = flat_frame(contrast, 0.001, valid=valid)
    sites = Sites.of([spot, *near], 1)
    cover, own = Cover.of(sites, sites.width, contrast.shape), np.array([0])
    return radial_cells(flat, sites.only(own), np.array([reach_cell]), cover.only(own))


def test_centre_is_found_again_to_a_tenth_of_a_cell() -> None:
    found = cells_round(bell(SHAPE, 30.6, 39.3, 3.0, 0.3), 12.0)
    # The deepest cell is the nearest one.
    nearest = float(found.radius_cell[found.loss.argmax()])
    assert nearest == pytest.approx(np.hypot(31 - 30.6, 39 - 39.3), abs=0.1)


def test_rings_hold_the_mean_of_their_cells() -> None:
    found = cells_round(disc(SHAPE, 30.0, 40.0, 6.0, 0.5), 12.0)
    around = rings(found, np.array([1.0]))
    assert around.loss[0, 0] == pytest.approx(0.5)
    assert around.loss[0, 4] == pytest.approx(0.5, abs=0.01)
    assert around.loss[0, 8] == pytest.approx(0.0, abs=1e-6)
    # Ring i holds the cells between i and i + 1: about pi (2 i + 1).
    assert around.n_cells[0, 8] == pytest.approx(np.pi * 17, rel=0.2)
    assert around.n_cells.sum() == found.loss.size


def test_curves_become_ring_means() -> None:
    found = cells_round(bell(SHAPE, 30.0, 40.0, 3.0, 0.3), 10.0)
    around = rings(found, np.array([1.0]))
    radii = (np.arange(40) + 0.5) * 0.25
    matrix = ring_means(found, around, 40, 0.25)[0]
    np.testing.assert_allclose(matrix.sum(axis=1), 1.0)
    # A curve that is linear in radius gives each ring's mean radius.
    by_hand = [found.radius_cell[around.ring_of_cell == ring].mean() for ring in range(1, 9)]
    np.testing.assert_allclose((matrix @ radii)[1:9], by_hand, rtol=1e-6)


def test_many_marks_at_once_are_those_one_by_one() -> None:
    contrast = bell(SHAPE, 20.2, 25.7, 2.0, 0.2) + bell(SHAPE, 40.6, 60.1, 3.0, 0.4)
    flat = flat_frame(contrast, 0.001)
    one = replace(SPOT, centre=FramePoint(row_px=20.0, col_px=26.0))
    two = replace(SPOT, centre=FramePoint(row_px=41.0, col_px=60.0))
    reach = np.array([9.0, 14.0])
    sites = Sites.of([one, two], 1)
    both = radial_cells(flat, sites, reach)
    around = rings(both, np.array([1.0, 1.5]))
    means = ring_means(both, around, 30, 0.5)
    for index, width in enumerate([1.0, 1.5]):
        alone = radial_cells(flat, sites.only(np.array([index])), reach[index : index + 1])
        assert np.array_equal(both.radius_cell[both.cells_of(index)], alone.radius_cell)
        assert np.array_equal(both.loss[both.cells_of(index)], alone.loss)
        its = rings(alone, np.array([width]))
        n_rings = its.loss.shape[1]
        assert np.array_equal(around.loss[index, :n_rings], its.loss[0])
        np.testing.assert_allclose(means[index, :n_rings], ring_means(alone, its, 30, 0.5)[0])


def test_neighbours_and_unusable_cells_are_left_out() -> None:
    contrast = disc(SHAPE, 30.0, 40.0, 3.0, 0.3)
    valid = np.ones(SHAPE, bool)
    valid[:, :36] = False
    whole, half = cells_round(contrast, 12.0), cells_round(contrast, 12.0, valid=valid)
    other = replace(SPOT, centre=FramePoint(row_px=30.0, col_px=50.0), width_px=4.0)
    beside = cells_round(contrast, 12.0, near=[other])
    assert half.loss.size < 0.75 * whole.loss.size
    assert 30 < whole.loss.size - beside.loss.size < 60


def test_each_mark_leaves_out_its_own_neighbours() -> None:
    contrast = disc(SHAPE, 30.0, 40.0, 3.0, 0.3) + disc(SHAPE, 25.0, 49.0, 2.0, 0.3)
    places = [(30.0, 40.0), (25.0, 49.0), (2.0, 40.0), (38.0, 44.0), (30.0, 31.0)]
    spots = [replace(SPOT, centre=FramePoint(row_px=r, col_px=c), width_px=6.0) for r, c in places]
    sites, reach = Sites.of(spots, 1), np.array([12.0, 10.0, 14.0, 9.0, 12.0])
    cover = Cover.of(sites, sites.width, SHAPE)
    flat = flat_frame(contrast, 0.001)
    whole = radial_cells(flat, sites, reach, cover)
    rows, cols = np.indices(SHAPE)
    for index in range(5):
        # Alone, where all that the others lie on cannot be used.
        others = [place for number, place in enumerate(places) if number != index]
        hidden = [(rows - r) ** 2 + (cols - c) ** 2 <= 6.0**2 for r, c in others]
        free = flat_frame(contrast, 0.001, valid=~np.any(hidden, axis=0))
        alone = radial_cells(free, sites.only(np.array([index])), reach[[index]])
        assert np.array_equal(whole.loss[whole.cells_of(index)], alone.loss)
    some = np.array([2, 0])
    parts = radial_cells(flat, sites.only(some), reach[some], cover.only(some))
    for place, index in enumerate(some):
        part, own = parts.cells_of(place), whole.cells_of(int(index))
        assert np.array_equal(parts.radius_cell[part], whole.radius_cell[own])


def test_light_that_is_no_number_is_left_out() -> None:
    contrast = disc(SHAPE, 30.0, 40.0, 3.0, 0.3)
    broken = contrast.copy()
    broken[25:28, 44] = np.nan
    whole, rest = cells_round(contrast, 12.0), cells_round(broken, 12.0)
    assert whole.loss.size - rest.loss.size == 3
    assert np.isfinite(rest.loss).all()


def test_a_mark_at_the_corner_is_cut_not_lost() -> None:
    spot = replace(SPOT, centre=FramePoint(row_px=0.5, col_px=0.5))
    found = cells_round(disc(SHAPE, 0.5, 0.5, 4.0, 0.3), 10.0, spot=spot)
    assert found.n_cells[0] > 0
    assert found.radius_cell.max() <= 10.0


def test_nothing_usable_leaves_no_cells() -> None:
    assert cells_round(np.zeros(SHAPE, np.float32), 12.0).n_cells.tolist() == [0]
    dark = cells_round(disc(SHAPE, 30.0, 40.0, 3.0, 0.3), 12.0, valid=np.zeros(SHAPE, bool))
    assert dark.n_cells.tolist() == [0]
    blank = flat_frame(np.zeros(SHAPE, np.float32), 0.001)
    assert radial_cells(blank, Sites.of([], 1), np.zeros(0)).loss.size == 0
