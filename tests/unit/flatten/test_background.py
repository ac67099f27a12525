"""The background under all marks, right up to the borders."""

from __future__ import annotations

import numpy as np
import pytest

from fields import FIELD, bell, noisy, uneven_light
from motemap.flatten.background import estimate_background

BOX = 16
LARGE, LARGE_BOX = (720, 1060), 48
ALL = np.ones(FIELD, bool)
LARGE_ALL = np.ones(LARGE, bool)
HALF_OF_FLOOR = 0.002
"""Half of the 0.4 % depth below which nothing is reported."""


@pytest.mark.parametrize("level", [0.001, 0.6])
def test_an_even_field_is_its_own_background(level: float) -> None:
    light = np.full(FIELD, level, np.float32)
    assert estimate_background(light, ALL, BOX)[:, :] == pytest.approx(level, rel=1e-5)


def test_strong_vignetting_and_tilt_are_followed_into_the_corners() -> None:
    light = uneven_light(LARGE, vignetting=0.6, tilt=0.25)
    error = estimate_background(light, LARGE_ALL, LARGE_BOX)[:, :] / light - 1
    assert np.abs(error).max() < HALF_OF_FLOOR


def test_dust_does_not_pull_the_background_down() -> None:
    clean = uneven_light(LARGE)
    places = [(40, 50), (90, 200), (4, 330), (300, 600), (310, 620)]
    marks = sum(bell(LARGE, row, col, 3.0, 0.6) for row, col in places)
    soiled = (clean * (1 + marks)).astype(np.float32)
    error = estimate_background(soiled, LARGE_ALL, LARGE_BOX)[:, :] / clean - 1
    # Most in the corner beyond the first mark, whose box is continued straight outwards.
    assert np.abs(error).max() < 2 * HALF_OF_FLOOR


def test_clipped_cells_do_not_count() -> None:
    light = uneven_light(LARGE)
    valid = LARGE_ALL.copy()
    valid[160:200, 300:370] = False
    spoiled = np.where(valid, light, np.float32(50))
    error = estimate_background(spoiled, valid, LARGE_BOX)[:, :][valid] / light[valid] - 1
    # A box that has lost cells on one side has another middle: up to a fifth of a box off.
    assert np.abs(error).max() < 2 * HALF_OF_FLOOR


def test_noise_is_not_followed() -> None:
    clean = uneven_light(FIELD)
    light = (clean * (1 + noisy(FIELD, 0.02, 7))).astype(np.float32)
    error = estimate_background(light, ALL, BOX)[:, :] / clean - 1
    # A box median of 64 looked-at cells is known to 1.25 x 2 % / 8 = 0.3 %, that of nine such
    # medians to a third of it; the rest is the slope between boxes.
    assert float(error.std()) < 3e-3


def test_input_is_left_alone() -> None:
    light = uneven_light(FIELD)
    light.setflags(write=False)
    before = light.copy()
    estimate_background(light, ALL, BOX)[:, :]
    assert np.array_equal(light, before)


def test_a_field_without_a_usable_cell_has_an_even_background() -> None:
    nothing = estimate_background(uneven_light(FIELD), np.zeros(FIELD, bool), BOX)[:, :]
    assert nothing.tolist() == np.ones(FIELD).tolist()


@pytest.mark.parametrize("shape", [(9, 13), (16, 40), (3, 5)])
def test_tiny_fields_have_a_background_too(shape: tuple[int, int]) -> None:
    light = np.full(shape, 0.5, np.float32)
    assert estimate_background(light, np.ones(shape, bool), 8)[:, :] == pytest.approx(0.5, rel=1e-4)
