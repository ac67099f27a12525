"""The one pass over the fine cells."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from fields import bell, flat_frame, noisy
from motemap.detect import detect
from motemap.detect.fine import pool_squares
from motemap.detect.grow import Candidates, grow
from motemap.filters import pool
from motemap.settings import DetectSettings
from motemap.strips import limited_threads

BINOMIAL = np.array([1, 4, 6, 4, 1]) / 16


@pytest.mark.parametrize("shape", [(180, 260), (181, 263), (7, 9)])
def test_squares_are_means_and_darkest_of_four(shape: tuple[int, int]) -> None:
    plane = noisy(shape, 0.01, 6)
    soft = plane.astype(np.float64)
    for axis in (0, 1):
        soft = ndimage.correlate1d(soft, BINOMIAL, axis=axis, mode="reflect")
    squares = pool_squares(plane)
    assert squares.mean == pytest.approx(pool(plane), abs=1e-7)
    height, width = shape
    even = np.pad(soft, ((0, height % 2), (0, width % 2)), mode="edge")
    darkest = even.reshape(len(even) // 2, 2, -1, 2).min(axis=(1, 3))
    assert squares.darkest[: height // 2, : width // 2] == pytest.approx(
        darkest[: height // 2, : width // 2], abs=1e-7
    )
    assert squares.sample == pytest.approx(soft[::4, ::4], abs=1e-7)


def test_the_pass_does_not_depend_on_threads() -> None:
    plane = noisy((400, 620), 0.01, 6)
    with limited_threads(1):
        one = pool_squares(plane)
    with limited_threads(3):
        three = pool_squares(plane)
    for name in ("mean", "darkest", "sample"):
        assert np.array_equal(getattr(one, name), getattr(three, name))


def test_a_mark_narrower_than_a_square_is_found_wherever_it_lies_in_it() -> None:
    noise_frac = 0.004
    for row, col in [(80.0, 120.0), (80.5, 120.0), (80.5, 120.5), (81.0, 121.0)]:
        # Sigma of 0.8 cells: half as wide as a square of the search.
        contrast = noisy((200, 300), noise_frac, 8) + bell((200, 300), row, col, 0.8, 0.05)
        found = detect(
            flat_frame(contrast, noise_frac), widest_px=30, usual_px=15, settings=DetectSettings()
        )
        assert len(found.regions) == 1
        region = found.regions[0]
        assert abs(region.top_cell + (region.mask.shape[0] - 1) / 2 - row) < 1.1
        assert abs(region.left_cell + (region.mask.shape[1] - 1) / 2 - col) < 1.1


def test_a_seed_takes_its_piece_and_leaves_others() -> None:
    # Two pieces of a row of ten cells; the second has no seed.
    cells = np.array([1, 2, 3, 6, 7])
    candidates = Candidates(
        cells=cells,
        depth_frac=np.array([0.1, 1.0, 0.5, 0.9, 0.9], np.float32),
        snr=np.ones(5, np.float32),
        is_seed=np.array([False, True, False, False, False]),
        is_fine_seed=np.zeros(5, bool),
    )
    kept, is_fine = grow(candidates, (1, 10))
    # The first cell lies below 0.18 of the peak.
    assert kept.tolist() == [1, 2]
    assert not is_fine.any()
