"""Rings about a mark, on fields that can be counted by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fields import bell, disc, flat_frame
from motemap.coords import FramePoint
from motemap.particle.radial import cell_place, crop_around, ring_means, rings
from motemap.records import MeasuredSpot

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
    assert cell_place(spot, 3) == (0.0, 1.0)
    assert cell_place(spot, 1) == (1.0, 4.0)


def test_centre_is_found_again_to_a_tenth_of_a_cell() -> None:
    contrast = bell(SHAPE, 30.6, 39.3, 3.0, 0.3)
    crop = crop_around(flat_frame(contrast, 0.001), SPOT, 12.0)
    assert crop is not None
    # The deepest cell is the nearest one.
    nearest = float(crop.radius_cell[crop.loss.argmax()])
    assert nearest == pytest.approx(np.hypot(31 - 30.6, 39 - 39.3), abs=0.1)


def test_rings_hold_the_mean_of_their_cells() -> None:
    contrast = disc(SHAPE, 30.0, 40.0, 6.0, 0.5)
    crop = crop_around(flat_frame(contrast, 0.001), SPOT, 12.0)
    assert crop is not None
    around = rings(crop, 1.0)
    assert around.loss[0] == pytest.approx(0.5)
    assert around.loss[4] == pytest.approx(0.5, abs=0.01)
    assert around.loss[8] == pytest.approx(0.0, abs=1e-6)
    # Ring i holds the cells between i and i + 1: about pi (2 i + 1).
    assert around.n_cells[8] == pytest.approx(np.pi * 17, rel=0.2)
    assert around.n_cells.sum() == crop.loss.size


def test_curves_become_ring_means() -> None:
    crop = crop_around(flat_frame(bell(SHAPE, 30.0, 40.0, 3.0, 0.3), 0.001), SPOT, 10.0)
    assert crop is not None
    around = rings(crop, 1.0)
    radii = (np.arange(40) + 0.5) * 0.25
    matrix = ring_means(crop, around, 40, 0.25)
    np.testing.assert_allclose(matrix.sum(axis=1), 1.0)
    # A curve that is linear in radius gives each ring's mean radius.
    by_hand = [crop.radius_cell[around.ring_of_cell == ring].mean() for ring in range(1, 9)]
    np.testing.assert_allclose((matrix @ radii)[1:9], by_hand, rtol=1e-6)


def test_neighbours_and_unusable_cells_are_left_out() -> None:
    contrast = disc(SHAPE, 30.0, 40.0, 3.0, 0.3)
    valid = np.ones(SHAPE, bool)
    valid[:, :36] = False
    whole = crop_around(flat_frame(contrast, 0.001), SPOT, 12.0)
    half = crop_around(flat_frame(contrast, 0.001, valid=valid), SPOT, 12.0)
    other = replace(SPOT, centre=FramePoint(row_px=30.0, col_px=50.0), width_px=4.0)
    beside = crop_around(flat_frame(contrast, 0.001), SPOT, 12.0, [other])
    assert whole is not None
    assert half is not None
    assert beside is not None
    assert half.loss.size < 0.75 * whole.loss.size
    assert 30 < whole.loss.size - beside.loss.size < 60


def test_a_mark_at_the_corner_is_cut_not_lost() -> None:
    spot = replace(SPOT, centre=FramePoint(row_px=0.5, col_px=0.5))
    crop = crop_around(flat_frame(disc(SHAPE, 0.5, 0.5, 4.0, 0.3), 0.001), spot, 10.0)
    assert crop is not None
    assert crop.radius_cell.max() <= 10.0


def test_nothing_usable_is_none() -> None:
    blank = flat_frame(np.zeros(SHAPE, np.float32), 0.001)
    assert crop_around(blank, SPOT, 12.0) is None
    dark = flat_frame(disc(SHAPE, 30.0, 40.0, 3.0, 0.3), 0.001, valid=np.zeros(SHAPE, bool))
    assert crop_around(dark, SPOT, 12.0) is None
