"""How soft the rims of wide marks are, on rims of known softness."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fields import Array, disc, flat_frame, noisy
from motemap.distances import regions_of
from motemap.filters import SQUARE, smooth
from motemap.measure import measure_all, owners, with_sharp_rims
from motemap.records import FlatFrame, MeasuredSpot, Region, Regions

SHAPE = (200, 310)
BAR = (slice(70, 130), slice(60, 240))
DEPTH_FRAC = 0.1
NOISE_FRAC = 0.004
SOFT_OF_SIGMA = math.sqrt(2 * math.pi)
"""Depth over steepest slope of an edge that a Gaussian has smoothed, over its sigma (derived)."""


def bar(sigma_cell: float) -> Array:
    """Return the contrast of a bar of 60 x 180 cells with a rim of some softness."""
    hard = np.zeros(SHAPE, np.float32)
    hard[BAR] = -DEPTH_FRAC
    return smooth(hard, sigma_cell)


def region_of(contrast: Array, *, of_cells: int = 1) -> Regions:
    """Return the mark in a plane, as found on one whose cells are so many times as wide."""
    mask = contrast[::of_cells, ::of_cells] < -0.2 * DEPTH_FRAC
    return regions_of([Region(top_cell=0, left_cell=0, mask=mask, snr=50.0, scale_cell=4.0)])


def measured(flat: FlatFrame, regions: Regions) -> tuple[MeasuredSpot, ...]:
    """Measure marks in the usual way."""
    return measure_all(flat, regions, owners(flat, regions))


def no_others() -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """Return squares without any mark."""
    return np.zeros((SHAPE[0] // SQUARE, SHAPE[1] // SQUARE), np.bool_)


@pytest.mark.parametrize("sigma_cell", [3.0, 8.0, 14.0])
def test_the_rim_of_a_wide_mark_is_as_soft_as_it_was_made(sigma_cell: float) -> None:
    clean = bar(sigma_cell)
    flat = flat_frame(clean + noisy(SHAPE, NOISE_FRAC, 4), NOISE_FRAC)
    regions = region_of(clean)
    (spot,) = with_sharp_rims(
        flat,
        regions,
        measured(flat, regions),
        no_others(),
        narrowest_px=(40.0, 40.0),
    )
    # A tenth of the rim is taken for its sharpest part, and noise steepens some of it; what
    # smoothing is left adds to the rest.
    true_px = SOFT_OF_SIGMA * sigma_cell
    assert 0.8 * true_px < spot.edge_px < 1.25 * true_px


def test_the_usual_smoothing_of_a_wide_mark_hides_how_sharp_it_is() -> None:
    flat = flat_frame(bar(3.0) + noisy(SHAPE, NOISE_FRAC, 4), NOISE_FRAC)
    regions = region_of(bar(3.0))
    before = measured(flat, regions)
    (spot,) = with_sharp_rims(flat, regions, before, no_others(), narrowest_px=(40.0, 40.0))
    assert spot.edge_px < 0.6 * before[0].edge_px
    assert spot.blur_sigma_px < before[0].blur_sigma_px
    assert (spot.width_px, spot.depth_frac) == (before[0].width_px, before[0].depth_frac)


def test_marks_that_are_narrow_or_faint_are_left_alone() -> None:
    flat = flat_frame(bar(3.0) + noisy(SHAPE, NOISE_FRAC, 4), NOISE_FRAC)
    regions = region_of(bar(3.0))
    before = measured(flat, regions)
    assert with_sharp_rims(flat, regions, before, no_others(), narrowest_px=(90.0, 90.0)) == before
    faint = (replace(before[0], depth_frac=0.005),)
    assert with_sharp_rims(flat, regions, faint, no_others(), narrowest_px=(40.0, 40.0)) == faint


def test_slopes_of_specks_on_the_rim_are_not_those_of_the_mark() -> None:
    soft = bar(14.0)
    specks = np.zeros(SHAPE, np.float32)
    for col in range(70, 240, 20):
        for row in (70.0, 130.0):
            specks += disc(SHAPE, row, float(col), 4.0, 0.5)
    flat = flat_frame(soft + specks + noisy(SHAPE, NOISE_FRAC, 4), NOISE_FRAC)
    of_film = soft < -0.2 * DEPTH_FRAC
    masks = [of_film & (specks == 0), specks < 0]
    film, others = (
        regions_of([Region(top_cell=0, left_cell=0, mask=mask, snr=50.0, scale_cell=4.0)])
        for mask in masks
    )
    both = film.with_others(others)
    before = measure_all(flat, both, owners(flat, both))[0]
    seen = replace(before, edge_px=60.0, depth_frac=DEPTH_FRAC)
    squares = np.zeros_like(no_others())
    squares[both.cells.row // SQUARE, both.cells.col // SQUARE] = True
    (spot,) = with_sharp_rims(flat, film, (seen,), squares, narrowest_px=(40.0, 40.0))
    assert spot.edge_px > 0.7 * SOFT_OF_SIGMA * 14.0


def test_a_mark_of_a_coarser_plane_is_looked_at_in_the_fine_one() -> None:
    clean = bar(3.0)
    flat = flat_frame(clean + noisy(SHAPE, NOISE_FRAC, 4), NOISE_FRAC)
    (before,) = measured(flat, region_of(clean))
    seen = replace(before, edge_px=60.0)
    regions = region_of(clean, of_cells=8)
    (spot,) = with_sharp_rims(
        flat, regions, (seen,), no_others(), narrowest_px=(40.0, 40.0), of_cells=8
    )
    assert spot.edge_px == pytest.approx(SOFT_OF_SIGMA * 3.0, rel=0.4)
