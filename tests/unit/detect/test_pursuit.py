"""Explaining a clump as shadows of the usual shape."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from motemap.detect.grounds import Ground
from motemap.detect.moving import COL, DENSITY, RADIUS, ROW, ShadowShape
from motemap.detect.profile import REACH_RADII, Profile, Sample, density_of
from motemap.detect.pursuit import Task, explain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.detect.pursuit import ClumpFit

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
    return Ground(density=density, cells=density > 0.002)


def explained(
    ground: Ground,
    starts: Sequence[tuple[float, float]],
    *,
    n_most: int,
    enough_frac: float = 0.0,
) -> ClumpFit:
    """Explain one clump."""
    task = Task(ground=ground, starts=starts, n_most=n_most, enough_frac=enough_frac)
    return explain(ShadowShape(profile=bell_profile(), radius=USUAL), [task])[0]


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
    fit = explained(ground_of(np.asarray(density)), [(20.0, 24.0)], n_most=8)
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
    ground = Ground(density=density, cells=cells)
    assert len(explained(ground, [(20.0, 31.0)], n_most=5).shadows) == 1


def test_a_needless_start_is_given_up() -> None:
    density = 0.1 * bell_density(20.0, 31.0)
    fit = explained(ground_of(density), [(20.0, 31.0), (22.0, 33.0)], n_most=5)
    assert len(fit.shadows) == 1


def test_no_shadow_may_lie_beyond_the_cells_to_be_explained() -> None:
    # The skirt of a neighbour, whose middle is 2 cells outside: a second shadow there would
    # explain all that is seen, but it is none of this clump.
    density = 0.1 * bell_density(20.0, 25.0) + 0.2 * bell_density(20.0, 35.0)
    rows, cols = np.indices(SHAPE)
    ground = Ground(density=density, cells=np.hypot(rows - 20, cols - 25) < 8)
    fit = explained(ground, [(20.0, 25.0)], n_most=5)
    assert all(ground.holds(row, col) for row, col in fit.shadows[:, [ROW, COL]].tolist())
    assert len(fit.shadows) == 1
    assert fit.left_frac > 0.2 * fit.held_frac


def test_no_more_are_sought_than_asked_for() -> None:
    density = sum(0.1 * bell_density(20.0, 15.0 + 9 * step) for step in range(4))
    fit = explained(ground_of(np.asarray(density)), [(20.0, 15.0)], n_most=2)
    assert len(fit.shadows) <= 2


def test_no_more_are_sought_when_enough_is_explained() -> None:
    density = np.asarray(0.1 * bell_density(20.0, 20.0) + 0.05 * bell_density(20.0, 29.0))
    fit = explained(ground_of(density), [(20.0, 20.0)], n_most=4, enough_frac=1.0)
    assert len(fit.shadows) == 1


def drawn_task(seed: int) -> Task:
    """Draw a clump of one to five shadows, so large or small that stacks have to be filled up."""
    draw = np.random.default_rng(seed)
    n_drawn = 1 + seed % 5
    places = draw.uniform((12, 12), (33, 49), (n_drawn, 2)).tolist()
    density = draw.normal(0, 0.001, SHAPE)
    for row, col in places:
        density += draw.uniform(0.03, 0.12) * bell_density(row, col)
    row, col = np.unravel_index(int(density.argmax()), SHAPE)
    return Task(
        ground=Ground(density=density, cells=density > draw.uniform(0.002, 0.01)),
        starts=[(float(row), float(col)), (22.0, 30.0)][: 1 + seed % 2],
        n_most=6,
    )


def assert_same(fits: Sequence[ClumpFit], others: Sequence[ClumpFit]) -> None:
    for one, other in zip(fits, others, strict=True):
        # Sums over a list that is filled up round otherwise: 1e-16, and moving them ends at a
        # place that the same rounding can shift by the root of that.
        np.testing.assert_allclose(one.shadows, other.shadows, rtol=1e-7, atol=1e-7)
        assert one.left_frac == pytest.approx(other.left_frac, rel=1e-7)
        assert one.held_frac == other.held_frac


def test_many_clumps_are_explained_as_each_alone() -> None:
    shape = ShadowShape(profile=bell_profile(), radius=USUAL)
    tasks = [drawn_task(seed) for seed in range(20)]
    alone = [explain(shape, [task])[0] for task in tasks]
    assert len({len(fit.shadows) for fit in alone}) > 3
    assert_same(explain(shape, tasks), alone)


def test_the_order_of_clumps_does_not_matter() -> None:
    shape = ShadowShape(profile=bell_profile(), radius=USUAL)
    tasks = [drawn_task(seed) for seed in range(6)]
    assert_same(explain(shape, tasks), explain(shape, tasks[::-1])[::-1])


def test_no_clump_at_all() -> None:
    assert explain(ShadowShape(profile=bell_profile(), radius=USUAL), []) == []
