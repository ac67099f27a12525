"""Marks that are far deeper at one place than along the rest of them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell, flat_frame, noisy
from motemap.detect import detect
from motemap.measure import measure_all, owners
from motemap.measure.ridges import ridge_depths
from motemap.settings import DetectSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import MeasuredSpot

SHAPE = (150, 210)
NOISE_FRAC = 0.0005
FWHM_PER_SIGMA = 2.3548
SIGMA_CELL, DEPTH, LENGTH_CELL = 2.0, 0.2, 100.0


def strip(turn_rad: float) -> NDArray[np.float64]:
    """Return the depth of a fibre through the middle: a Gaussian of 2 cells across."""
    rows, cols = np.indices(SHAPE)
    down, right = rows - 75, cols - 105
    along = right * math.cos(turn_rad) + down * math.sin(turn_rad)
    across = -right * math.sin(turn_rad) + down * math.cos(turn_rad)
    bell_across = DEPTH * np.exp(-(across**2) / (2 * SIGMA_CELL**2))
    depth: NDArray[np.float64] = np.where(np.abs(along) < LENGTH_CELL / 2, bell_across, 0.0)
    return depth


def deepest(depth: NDArray[np.float64]) -> MeasuredSpot:
    flat = flat_frame(noisy(SHAPE, NOISE_FRAC, 3) - depth.astype(np.float32), NOISE_FRAC)
    found = detect(flat, widest_px=60.0, usual_px=40.0, settings=DetectSettings()).found
    return max(measure_all(flat, found, owners(flat, found)), key=lambda spot: spot.depth_frac)


def test_where_fibres_cross_they_are_no_narrower() -> None:
    # Twice as deep where both lie: half of that is the very ridge of either.
    spot = deepest(strip(-0.7) + strip(0.7))
    assert spot.depth_frac == pytest.approx(2 * DEPTH, rel=0.1)
    assert spot.width_px == pytest.approx(FWHM_PER_SIGMA * SIGMA_CELL, rel=0.15)
    assert spot.length_px == pytest.approx(2 * LENGTH_CELL, rel=0.1)


def test_a_fibre_with_a_bead_is_as_long_as_it_is() -> None:
    bead = -bell(SHAPE, 75.0, 105.0, 1.2 * SIGMA_CELL, 1.5 * DEPTH)
    spot = deepest(strip(0.4) + bead)
    assert spot.length_px == pytest.approx(LENGTH_CELL, rel=0.1)
    # The bead is a part of it, and wider.
    assert spot.width_px == pytest.approx(FWHM_PER_SIGMA * SIGMA_CELL, rel=0.25)


def test_how_soft_its_flank_is_is_held_against_its_own_depth() -> None:
    alone, crossed = deepest(strip(0.4)), deepest(strip(-0.7) + strip(0.7))
    assert crossed.edge_px == pytest.approx(alone.edge_px, rel=0.15)


def test_the_ridge_of_a_compact_mark_is_its_peak() -> None:
    rows, cols = np.indices((20, 31))
    mine = np.hypot(rows - 9, (cols - 14) / 1.4) < 6
    soft = np.exp(-((rows - 10) ** 2 + ((cols - 15) / 1.4) ** 2) / 18).astype(np.float32)
    ridge = ridge_depths(soft[None], mine[None], np.array([12.0], np.float32))
    assert ridge[0] == soft.max()


def test_many_ridges_at_once_are_those_one_by_one() -> None:
    rng = np.random.default_rng(5)
    soft = rng.normal(0.1, 0.02, (6, 17, 40)).astype(np.float32)
    mine = np.zeros(soft.shape, np.bool_)
    for number in range(6):
        mine[number, 6:9, 2 : 8 + 6 * number] = True
    thickness = np.full(6, 3.0, np.float32)
    together = ridge_depths(soft, mine, thickness)
    singly = [ridge_depths(soft[i : i + 1], mine[i : i + 1], thickness[:1])[0] for i in range(6)]
    assert together.tolist() == singly
