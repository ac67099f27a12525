"""What marks make of the distance, from misfits written down by hand."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from motemap.optics.stacks import STACK_RANGE_UM
from motemap.particle.grid import DistanceFits, log_taus
from motemap.particle.vote import Opinions

if TYPE_CHECKING:
    from collections.abc import Sequence

F_NUMBER = 22.0
N_RINGS = 24
SHARP = 0.04
"""Width, in logarithm, of the valley of a misfit."""
NOWHERE = 200.0
GRAIN_UM, FILM_UM = 15.0, 90.0


def valleys(*taus_um: float) -> np.ndarray:
    """Return a misfit with a valley at each of some distances."""
    away = np.abs(log_taus()[:, None] - np.log(taus_um)) if taus_um else np.full((1, 1), np.inf)
    return np.asarray(np.minimum(np.square(away.min(axis=1) / SHARP), NOWHERE) + np.zeros(50))


def opinions(
    marks: Sequence[tuple[tuple[float, ...], tuple[float, ...]]], film_weight: float = 1.0
) -> Opinions:
    """Return the opinions of marks that fit as grains at some distances, as films at others."""
    misfit = np.stack([[valleys(*as_what) for as_what in pair] for pair in marks], axis=1)
    particle_um = np.broadcast_to(np.array([GRAIN_UM, FILM_UM])[:, None, None], misfit.shape)
    fits = DistanceFits(
        misfit=misfit, particle_um=particle_um, n_rings=np.full(len(marks), N_RINGS)
    )
    return Opinions.of(fits, F_NUMBER, film_weight)


def test_the_grid_reaches_beyond_what_is_met() -> None:
    taus = log_taus()
    assert taus.size == len(valleys())
    assert math.exp(taus[0]) < STACK_RANGE_UM[0]
    assert math.exp(taus[-1]) > STACK_RANGE_UM[1]
    np.testing.assert_allclose(log_taus(3)[::3], taus)


def test_grains_agree_on_one_distance() -> None:
    found = opinions([((1300.0,), ())] * 6).consensus()
    assert math.exp(found.log_tau) == pytest.approx(1300.0, rel=0.01)
    assert found.is_clear
    assert found.n_agreeing == pytest.approx(6, abs=0.2)
    assert found.error < 0.03


def test_films_of_many_widths_agree_only_where_they_lie() -> None:
    mirrors = (2000.0, 2400.0, 2900.0, 3500.0, 4200.0, 1700.0)
    found = opinions([((mirror,), (1000.0,)) for mirror in mirrors]).consensus()
    assert math.exp(found.log_tau) == pytest.approx(1000.0, rel=0.08)
    assert found.is_clear
    # Soft rims of one kind are not averaged out.
    assert found.error > 0.2


def test_films_of_one_width_may_lie_at_either_distance() -> None:
    assert not opinions([((2700.0,), (1300.0,))] * 6).consensus().is_clear
    # Grains as alike are told by their light, which does not fit as that of films.
    assert opinions([((1300.0,), ())] * 6).consensus().is_clear


def test_a_distance_that_is_never_met_is_hardly_believed() -> None:
    either = opinions([((1300.0, 4200.0), ())] * 3).consensus()
    assert math.exp(either.log_tau) == pytest.approx(1300.0, rel=0.05)
    far = opinions([((4000.0,), ())] * 12).consensus()
    assert math.exp(far.log_tau) == pytest.approx(4000.0, rel=0.05)


def test_what_two_marks_say_against_each_other_counts_as_error() -> None:
    apart = [((1300.0 * math.exp(step),), ()) for step in (-0.08, -0.06, 0.06, 0.08)]
    found, agreed = (opinions(marks).consensus() for marks in (apart, [((1300.0,), ())] * 4))
    assert found.error > 1.4 * agreed.error


def test_films_that_fit_little_better_are_not_believed_where_profiles_are_bent() -> None:
    # Grains of many sizes: all fit at 1300 um, a little better as films each somewhere else.
    elsewhere = (620.0, 640.0, 660.0, 680.0, 700.0, 720.0)
    marks = [((1300.0,), (film,)) for film in elsewhere]
    found = opinions(marks, film_weight=0.1).consensus()
    assert math.exp(found.log_tau) == pytest.approx(1300.0, rel=0.02)
    assert found.is_clear
