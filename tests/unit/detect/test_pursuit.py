"""Explaining a clump as shadows of the usual shape."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from motemap.detect.profile import REACH_RADII, Profile, Sample, density_of
from motemap.detect.pursuit import COL, DENSITY, RADIUS, ROW, Ground, explain

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHAPE = (45, 61)
SIGMA = 3.0
USUAL = SIGMA * 1.1774
"""Radius of a bell at half depth."""


def bell_density(row: float, col: float, sigma: float = SIGMA) -> NDArray[np.float64]:
    rows, cols = np.indices(SHAPE)
    fall = np.exp(-0.5 * ((rows - row) ** 2 + (cols - col) ** 2) / sigma**2)
    return np.asarray(fall, dtype=np.float64)


def bell_profile() -> Profile:
    samples = [
        Sample(density=depth * bell_density(row, col), row=row, col=col, radius=USUAL)
        for row, col, depth in ((20.0, 30.0, 0.1), (22.3, 28.6, 0.2), (19.5, 31.4, 0.05))
    ]
    return Profile.learned(samples)


def ground_of(density: NDArray[np.float64]) -> Ground:
    return Ground(density=density, cells=density > 0.002, profile=bell_profile(), radius=USUAL)


def test_density_of_light_lost_twice_is_the_sum() -> None:
    once = np.float32(-0.2) * np.ones((2, 3), np.float32)
    twice = (np.float32(1) + once) ** 2 - 1
    assert density_of(twice) == pytest.approx(2 * density_of(once), rel=1e-5)


def test_density_of_black_is_finite() -> None:
    assert np.isfinite(density_of(np.full((2, 3), -1.0, np.float32))).all()


@pytest.mark.parametrize("radii", [0.5, 1.0, 1.7])
def test_a_profile_is_learned(radii: float) -> None:
    value, slope = bell_profile().with_slope(np.array([0.0, radii]))
    drawn = np.exp(-0.5 * (radii * 1.1774) ** 2)
    # Steps of a twentieth of a radius and the smoothing over them cost up to 1 % of the depth.
    assert value[1] / value[0] == pytest.approx(drawn, abs=0.015)
    # The slope is taken over a tenth of a radius, from the cells of three small marks: 10 %.
    assert slope[1] / value[0] == pytest.approx(-radii * 1.1774**2 * drawn, abs=0.08)


def test_a_profile_ends() -> None:
    value = bell_profile().at(np.array([REACH_RADII, 2 * REACH_RADII]))
    assert (value == 0).all()


def test_shadows_are_found_where_they_are() -> None:
    drawn = [(20.4, 22.3, 0.10), (24.0, 27.5, 0.06), (17.0, 29.0, 0.08)]
    density = sum(depth * bell_density(row, col) for row, col, depth in drawn)
    fit = explain(ground_of(np.asarray(density)), [(20.0, 24.0)], n_most=8)
    found = fit.shadows[np.argsort(fit.shadows[:, COL])]
    assert len(found) == len(drawn)
    for shadow, (row, col, depth) in zip(found, drawn, strict=True):
        # What the profile's steps leave is 1 % of the depth; a tenth of a radius is 0.35 cells.
        assert shadow[ROW] == pytest.approx(row, abs=0.15)
        assert shadow[COL] == pytest.approx(col, abs=0.15)
        assert shadow[DENSITY] == pytest.approx(depth, rel=0.05)
        assert shadow[RADIUS] == pytest.approx(USUAL, rel=0.05)
    assert fit.left_frac < 0.02 * fit.held_frac


def test_one_shadow_needs_no_second() -> None:
    noise = np.random.default_rng(3).normal(0, 0.002, SHAPE)
    density = 0.1 * bell_density(20.4, 31.3) + noise
    cells = bell_density(20.4, 31.3) > 0.02
    ground = Ground(density=density, cells=cells, profile=bell_profile(), radius=USUAL)
    assert len(explain(ground, [(20.0, 31.0)], n_most=5).shadows) == 1


def test_a_needless_start_is_given_up() -> None:
    density = 0.1 * bell_density(20.0, 31.0)
    fit = explain(ground_of(density), [(20.0, 31.0), (22.0, 33.0)], n_most=5)
    assert len(fit.shadows) == 1


def test_no_more_are_sought_than_asked_for() -> None:
    density = sum(0.1 * bell_density(20.0, 15.0 + 9 * step) for step in range(4))
    fit = explain(ground_of(np.asarray(density)), [(20.0, 15.0)], n_most=2)
    assert len(fit.shadows) <= 2


def test_no_more_are_sought_when_enough_is_explained() -> None:
    density = np.asarray(0.1 * bell_density(20.0, 20.0) + 0.05 * bell_density(20.0, 29.0))
    fit = explain(ground_of(density), [(20.0, 20.0)], n_most=4, enough_frac=1.0)
    assert len(fit.shadows) == 1
