"""Scatter of filter answers, and the strips along the borders."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import ndimage

from fields import noisy
from motemap.detect.response import (
    Response,
    border_factors,
    means_of,
)
from motemap.detect.scatter import measure_scatter
from motemap.filters import smooth, smooth_unit

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHAPE = (260, 380)


def inverse_of(answers: NDArray[np.float32], sigma_cell: float) -> NDArray[np.float32]:
    rows, cols = np.indices(answers.shape)
    inverse = measure_scatter(answers, sigma_cell).inverse_at(rows.ravel(), cols.ravel())
    return inverse.reshape(answers.shape)


def test_scatter_of_white_noise_is_its_deviation() -> None:
    answers = noisy(SHAPE, 0.004, 1)
    assert measure_scatter(answers, 1.0).median_frac == pytest.approx(0.004, rel=0.05)
    assert 1 / float(np.median(inverse_of(answers, 1.0))) == pytest.approx(0.004, rel=0.08)


def test_scatter_is_local() -> None:
    answers = noisy(SHAPE, 0.002, 2)
    answers[:, 190:] *= 8
    inverse = inverse_of(answers, 1.0)
    assert 1 / float(np.median(inverse[60:200, 20:130])) == pytest.approx(0.002, rel=0.15)
    assert 1 / float(np.median(inverse[60:200, 250:360])) == pytest.approx(0.016, rel=0.15)


def test_how_uneven_the_scatter_is() -> None:
    # 400 of the 1600 cells of a box are looked at: the median deviation of so many scatters by
    # 1.17 / sqrt(400), 6 % - from memory. Straight lines between boxes leave two thirds of that;
    # some 60 boxes tell it to a third.
    even = measure_scatter(noisy(SHAPE, 0.002, 4), 1.0).uneven_frac
    assert even == pytest.approx(0.058 * 2 / 3, rel=0.35)
    answers = noisy(SHAPE, 0.002, 4)
    answers[:, 190:] *= 1.5
    # Half the boxes at 1 and half at 1.5: their middle two thirds span nearly all of it.
    assert measure_scatter(answers, 1.0).uneven_frac == pytest.approx(0.2, rel=0.3)


def test_a_plane_smaller_than_a_box_has_an_even_scatter() -> None:
    assert measure_scatter(noisy((9, 13), 0.002, 5), 8.0).uneven_frac == pytest.approx(0, abs=0.2)


def test_structure_along_a_border_raises_the_bar_there() -> None:
    answers = noisy(SHAPE, 0.002, 3)
    answers[:3] *= 10
    inverse = inverse_of(answers, 1.2)
    assert float(inverse[:3].max()) < 0.25 * float(np.median(inverse[100:]))


def test_an_answer_of_nothing_has_a_finite_scatter() -> None:
    assert np.isfinite(inverse_of(np.zeros(SHAPE, np.float32), 1.0)).all()


@pytest.mark.parametrize("sigma", [1.5, 4.0])
def test_border_factors_are_those_of_mirrored_noise(sigma: float) -> None:
    frames = [smooth(noisy((8, 240), 1.0, seed), sigma) for seed in range(400)]
    deviation = np.stack(frames).std(axis=(0, 1))
    measured = deviation / np.median(deviation[60:180])
    # 3,200 rows, of which about one in 2 sigma is independent.
    assert np.abs(measured - border_factors(240, sigma)).max() < 0.12
    assert border_factors(240, sigma)[0] == pytest.approx(np.sqrt(2), rel=0.03)
    assert border_factors(240, sigma)[120] == pytest.approx(1)


def test_the_wide_mean_has_the_size_of_its_plane() -> None:
    plane = np.full((33, 47), 0.5, np.float32)
    _, wide, _ = means_of(plane)
    assert wide.shape == (33, 47)
    assert wide[:, :] == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("rows", [slice(0, 7), slice(7, 55), slice(240, 260)])
def test_no_cell_of_some_rows_exceeds_what_is_said_of_them(rows: slice) -> None:
    answers = noisy(SHAPE, 0.002, 3)
    answers[-3:] *= 10
    answers[:, :2] *= 7
    answers[100:, 200:] *= 3
    whole = inverse_of(answers, 1.2)[rows]
    most = measure_scatter(answers, 1.2).most_along(rows)
    assert (whole <= most * (1 + 1e-6)).all()
    # Tight enough to be of use: here at most two boxes of a column are looked at.
    assert np.median(whole / most) > 0.8


def test_a_response_is_its_wide_mean_less_its_narrow_one() -> None:
    plane = noisy((41, 53), 0.1, 6)
    narrow, wide, _ = means_of(plane)
    response = Response(narrow=narrow, wide=wide)
    assert response.shape == plane.shape
    whole = wide[:, :] - smooth_unit(plane)
    assert response[:, :] == pytest.approx(whole, abs=1e-7)
    assert np.array_equal(response[3:30:2, 50:53], response[:, :][3:30:2, 50:53])


def halved(plane: NDArray[np.float64]) -> NDArray[np.float64]:
    """Average squares of 2 x 2 cells, an odd last row or column repeated."""
    even = np.pad(plane, [(0, n_cells % 2) for n_cells in plane.shape], mode="edge")
    means = even.reshape(len(even) // 2, 2, -1, 2).mean(axis=(1, 3))
    return np.asarray(means, dtype=np.float64)


def thrice_averaged(plane: NDArray[np.float64], side: int) -> NDArray[np.float64]:
    for _ in range(3):
        plane = ndimage.uniform_filter(plane, side, mode="reflect")
    return plane


def test_wide_means_are_made_on_pooled_planes() -> None:
    plane = noisy((41, 53), 0.1, 7)
    _, surround, level = means_of(plane)
    assert surround.shape == level.shape == plane.shape
    # Three running means of side n have the variance of a Gaussian of sigma s where
    # 3 (n^2 - 1) / 12 = s^2; the nearest odd sides: 4.6 and 6.1.
    squares = halved(plane.astype(np.float64))
    assert surround.values == pytest.approx(thrice_averaged(squares, 5), abs=1e-7)
    assert level.values == pytest.approx(thrice_averaged(halved(squares), 7), abs=1e-7)
