"""Sums of flat discs: how many, where, how wide, how soft and how deep."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fields import Array, disc, flat_frame, noisy
from motemap.detect import detect
from motemap.filters import smooth
from motemap.measure import DiscGroup, disc_groups
from motemap.measure.disc_fit import fit_discs
from motemap.optics.overlap import strip_share
from motemap.settings import DetectSettings

SHAPE = (90, 130)
NOISE_FRAC = 0.0003
CELL_PX = 8
RADIUS = 13.0
NARROWEST_PX = 10.0 * CELL_PX


def discs_at(*places: tuple[float, float, float]) -> Array:
    """Return the contrast of slightly softened discs over one another: row, column, depth."""
    light = np.ones(SHAPE, np.float32)
    for row, col, depth in places:
        light *= 1 + smooth(disc(SHAPE, row, col, RADIUS, depth), 1.0)
    return light - 1


def groups_in(contrast: Array) -> tuple[DiscGroup, ...]:
    """Detect, and fit discs to what touches."""
    flat = flat_frame(contrast + noisy(SHAPE, NOISE_FRAC, 3), NOISE_FRAC, bin_px=CELL_PX)
    widest_px = 60.0 * CELL_PX
    settings = DetectSettings(snr_min=5.5)
    found = detect(flat, widest_px=widest_px, usual_px=widest_px, settings=settings).found
    return disc_groups(flat, found, narrowest_px=NARROWEST_PX, widest_px=widest_px)


def test_two_discs_over_one_another_are_told_apart() -> None:
    (group,) = groups_in(discs_at((40.0, 50.0, 0.05), (46.0, 66.0, 0.03)))
    deep, faint = sorted(group.discs, key=lambda spot: -spot.depth_frac)
    assert (deep.depth_frac, faint.depth_frac) == pytest.approx((0.05, 0.03), rel=0.05)
    # A cell's number is that of its middle, half a cell from its first pixel.
    assert deep.centre.row_px == pytest.approx(40.5 * CELL_PX - 0.5, abs=2.0)
    assert faint.centre.col_px == pytest.approx(66.5 * CELL_PX - 0.5, abs=2.0)
    assert [deep.width_px, faint.width_px] == pytest.approx([2 * RADIUS * CELL_PX] * 2, rel=0.03)
    # A step smoothed with sigma is sqrt(2 pi) sigma deep over its slope.
    assert deep.edge_px == pytest.approx(math.sqrt(2 * math.pi) * CELL_PX, rel=0.25)


def test_three_discs_are_told_apart() -> None:
    (group,) = groups_in(discs_at((40.0, 50.0, 0.05), (46.0, 66.0, 0.03), (58.0, 52.0, 0.04)))
    assert sorted(spot.depth_frac for spot in group.discs) == pytest.approx(
        [0.03, 0.04, 0.05], rel=0.06
    )


def test_one_disc_is_taken_for_one() -> None:
    (group,) = groups_in(discs_at((40.0, 50.0, 0.05)))
    assert len(group.discs) == 1


def test_discs_apart_are_groups_of_one() -> None:
    groups = groups_in(discs_at((40.0, 35.0, 0.05), (46.0, 95.0, 0.05)))
    assert [len(group.discs) for group in groups] == [1, 1]


def test_a_streak_is_no_sum_of_discs() -> None:
    streak = np.zeros(SHAPE, np.float32)
    streak[38:54, 25:100] = -0.04
    (group,) = groups_in(smooth(streak, 1.5))
    assert group.discs == ()


def test_what_is_smaller_than_the_narrowest_disc_is_not_looked_at() -> None:
    assert groups_in(disc(SHAPE, 45.0, 60.0, 4.0, 0.05)) == ()


def test_the_fit_comes_back_to_what_was_drawn() -> None:
    rows, cols = (part.ravel().astype(np.float64) for part in np.indices((50, 70)))
    true = np.array([[22.0, 25.0, 12.0, 3.0, 0.05], [27.5, 40.0, 13.0, 4.0, 0.03]])
    away = np.hypot(rows[:, None] - true[:, 0], cols[:, None] - true[:, 1])
    density = strip_share((true[:, 2] - away) / true[:, 3]) @ true[:, 4]
    first = np.array([[24.0, 22.0, 14.0, 5.0, 0.04], [25.0, 43.0, 14.0, 5.0, 0.04]])
    fit = fit_discs(density, rows, cols, first)
    assert fit.discs == pytest.approx(true, rel=2e-3)
    assert fit.misfit < 1e-5 * float(density @ density)
