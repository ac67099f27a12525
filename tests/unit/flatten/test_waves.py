"""Periodic structure of a screen."""

from __future__ import annotations

import numpy as np
import pytest

from fields import FIELD, bell, noisy
from motemap.filters import smooth
from motemap.flatten.waves import has_lines, remove_periodic
from motemap.planes import Contrast

NOISE = np.full(FIELD, 0.003, np.float32)
ALL = np.ones(FIELD, bool)


def screen(amplitude: float) -> np.ndarray:
    return screen_of(FIELD, amplitude)


def screen_of(shape: tuple[int, int], amplitude: float) -> np.ndarray:
    rows, cols = np.indices(shape)
    return (amplitude * np.sin(0.8 * cols + 0.5 * rows)).astype(np.float32)


def test_noise_and_dust_are_no_lines() -> None:
    contrast = Contrast.of(noisy(FIELD, 0.003, 4) + bell(FIELD, 80, 130, 3.0, 0.1))
    assert not has_lines(contrast, NOISE)
    assert remove_periodic(contrast, ALL, NOISE) is contrast


@pytest.mark.parametrize("seed", range(6, 10))
def test_soft_light_is_no_line(seed: int) -> None:
    # Slow waves, strong and of all directions, just above those that are left alone.
    soft = smooth(noisy(FIELD, 1.0, seed), 8.0)
    soft *= 0.003 / soft.std()
    assert not has_lines(soft + noisy(FIELD, 0.0005, seed + 4), NOISE)


def test_a_screen_has_lines() -> None:
    assert has_lines(screen(0.004) + noisy(FIELD, 0.003, 4), NOISE)


def test_a_mark_on_a_screen_keeps_its_depth() -> None:
    mark = bell(FIELD, 80, 130, 3.0, 0.1)
    contrast = screen(0.004) + noisy(FIELD, 0.003, 4) + mark
    cleaned = remove_periodic(Contrast.of(contrast), ALL, NOISE)[:, :]
    near = np.s_[77:84, 127:134]
    # 49 cells of 0.3 % noise are known to 0.04 %; a twentieth of the depth is 0.5 %.
    assert abs(float((cleaned - mark)[near].mean())) < 0.005


def test_long_straight_streaks_keep_their_profile() -> None:
    shape = (600, 900)
    rows, cols = np.indices(shape)
    streaks = np.zeros(shape, np.float32)
    for middle in (100, 300, 500):
        across = rows - middle - 0.35 * (cols - 450)
        is_along = np.abs(cols - 450) < 300
        streaks -= (0.04 * np.exp(-((across / 15) ** 4)) * is_along).astype(np.float32)
    contrast = streaks + screen_of(shape, 0.004) + noisy(shape, 0.001, 5)
    noise = np.full(shape, 0.004, np.float32)
    cleaned = remove_periodic(Contrast.of(contrast), np.ones(shape, bool), noise)[:, :]
    left = smooth(cleaned - streaks, 3.0)[20:-20, 20:-20]
    # Noise of 0.1 % is five times 0.01 % at most under this blur, and the screen has to be gone.
    assert float(np.abs(left).max()) < 0.001


def test_cells_that_do_not_count_stay_as_they_are() -> None:
    valid = ALL.copy()
    valid[:20] = False
    contrast = np.where(valid, screen(0.006) + noisy(FIELD, 0.003, 9), 0).astype(np.float32)
    cleaned = remove_periodic(Contrast.of(contrast), valid, NOISE)[:, :]
    assert not cleaned[:20].any()
    assert float(cleaned[40:].std()) < float(contrast[40:].std())
