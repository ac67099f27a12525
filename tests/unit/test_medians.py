"""Medians of many runs at once, against NumPy's own of each."""

import numpy as np
import pytest

from motemap.medians import LOOK_EVERY, medians_of_runs, typical


@pytest.mark.parametrize("seed", range(4))
def test_each_run_has_its_own_median(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n_values = rng.integers(0, 9, 40)
    values = rng.normal(size=int(n_values.sum())).astype(np.float32)
    runs = np.split(values, np.cumsum(n_values)[:-1])
    wanted = [np.median(run.astype(np.float64)) if run.size else 0.0 for run in runs]
    np.testing.assert_allclose(medians_of_runs(values, n_values), wanted, rtol=1e-12)


def test_of_no_runs_there_are_no_medians() -> None:
    assert medians_of_runs(np.zeros(0, np.float32), np.zeros(0, np.intp)).size == 0


def test_a_plane_is_told_by_a_sample() -> None:
    plane = np.zeros((5 * LOOK_EVERY, 3 * LOOK_EVERY), np.float32)
    plane[::LOOK_EVERY, ::LOOK_EVERY] = 2.0
    assert typical(plane) == 2.0
