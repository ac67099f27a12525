"""Robust noise, against scipy.

Source: scipy 1.17, ``scipy.stats.median_abs_deviation(scale="normal")``, whose factor is one
over the 0.75 quantile of the normal distribution.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fields import noisy
from motemap.flatten import noise_surface
from motemap.mesh import SIGMA_PER_MAD, box_starts, box_statistic, scatter_of_rows
from motemap.planes import Contrast

pytestmark = pytest.mark.external

SHAPE = (110, 170)


def test_the_factor_is_that_of_the_normal_distribution() -> None:
    assert pytest.approx(1 / stats.norm.ppf(0.75), rel=1e-4) == SIGMA_PER_MAD


@pytest.mark.parametrize("n_values", [5, 101, 1001])
def test_scatter_of_rows(n_values: int) -> None:
    rows = np.random.default_rng(1).standard_t(3, (40, n_values)).astype(np.float32)
    wanted = stats.median_abs_deviation(rows, axis=1, scale="normal")
    assert scatter_of_rows(rows) == pytest.approx(wanted, rel=1e-3)


def test_scatter_of_rows_with_gaps() -> None:
    rows = np.random.default_rng(2).normal(0, 1, (40, 301)).astype(np.float32)
    rows[:, ::3] = np.nan
    wanted = stats.median_abs_deviation(rows, axis=1, scale="normal", nan_policy="omit")
    # Of an even number we take the lower of the middle two values, scipy their mean.
    assert scatter_of_rows(rows) == pytest.approx(wanted, rel=0.05)


def test_boxes_of_the_noise_map() -> None:
    contrast = noisy(SHAPE, 0.004, 3)
    contrast[40:50, 60:75] = -0.5
    mesh = box_statistic(contrast, 20, scatter_of_rows)
    rows, height = box_starts(SHAPE[0], 20)
    cols, width = box_starts(SHAPE[1], 20)
    for i, row in enumerate(rows):
        for j, col in enumerate(cols):
            box = contrast[row : row + height, col : col + width]
            wanted = stats.median_abs_deviation(box, axis=None, scale="normal")
            assert mesh[i, j] == pytest.approx(wanted, rel=1e-3)


def test_the_map_is_that_of_the_boxes() -> None:
    contrast = noisy(SHAPE, 0.004, 4)
    wanted = stats.median_abs_deviation(contrast, axis=None, scale="normal")
    noise = noise_surface(Contrast.of(contrast), np.ones(SHAPE, bool), 40)[:, :]
    # Twelve boxes of some 360 looked-at cells, each known to 1.17 / sqrt(360) = 6 %.
    assert float(np.median(noise)) == pytest.approx(float(wanted), rel=0.06)
