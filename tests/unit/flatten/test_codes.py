"""What coarse codes do to a smooth field."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import noisy, plane_of
from motemap.flatten.codes import code_floor, first_harmonic

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Plane

SHAPE = (192, 288)
STEP = 1 / 100
STEPS = np.full(100, STEP, np.float32)
"""A hundred codes of equal width: code n stands for the light from n/100 to (n+1)/100."""


QUIET = np.full(SHAPE, 1e-6, np.float32)


def noise_of(noise_in_codes: float) -> NDArray[np.float32]:
    """Return noise so many codes large, as a share of a light of 0.5."""
    return np.full(SHAPE, noise_in_codes * STEP / 0.5, np.float32)


def coded(noise_in_codes: float) -> tuple[Plane, NDArray[np.float32]]:
    """Return a slope of light stored in whole codes, and the slope."""
    slope = np.tile(np.linspace(0.4, 0.6, SHAPE[1], dtype=np.float32), (SHAPE[0], 1))
    light = slope + noisy(SHAPE, noise_in_codes * STEP, 6)
    stored = (np.floor(light / STEP) + 0.5) * STEP
    return plane_of(stored.astype(np.float32), code_step=STEPS), slope


def test_fine_codes_have_no_floor() -> None:
    plane, slope = coded(0.0)
    assert code_floor(plane_of(plane.light), slope, QUIET) is None


def test_without_noise_a_whole_step_may_be_false() -> None:
    plane, slope = coded(0.0)
    found = code_floor(plane, slope, QUIET)
    assert found is not None
    floor, step = found
    assert floor.shape == step.shape == SHAPE
    # One step of 0.01 on a light of 0.5 is 2 %.
    assert float(np.median(step[:, :])) == pytest.approx(0.02, rel=0.02)
    assert float(np.median(floor[:, :])) == pytest.approx(0.02, rel=0.02)


@pytest.mark.parametrize("dc_step", [13.0, 20.0])
def test_means_of_blocks_in_steps_of_several_codes_may_feign_as_many(dc_step: float) -> None:
    _, slope = coded(0.0)
    blocks = (slope / STEP).reshape(SHAPE[0] // 8, 8, SHAPE[1] // 8, 8).mean(axis=(1, 3))
    kept = np.rint(np.rint(blocks / (dc_step / 8)) * (dc_step / 8))
    stored = ((np.kron(kept, np.ones((8, 8))) + 0.5) * STEP).astype(np.float32)
    steps = np.full((8, 8), dc_step, np.float32)
    found = code_floor(
        replace(plane_of(stored, code_step=STEPS), block_step_codes=steps), slope, QUIET
    )
    assert found is not None
    floor, step = found
    assert float(np.median(step[:, :])) == pytest.approx(0.02, rel=0.02)
    assert float(np.median(floor[:, :])) == pytest.approx(0.02 * dc_step / 8, rel=0.02)


def test_noise_of_a_code_and_more_hides_the_steps() -> None:
    plane, slope = coded(1.5)
    found = code_floor(plane, slope, noise_of(1.5))
    # A twentieth of a step is left to chance: these boxes hold but a few hundred squares.
    assert found is None or float(found[0][:, :].max()) < 0.02 / 20 * 1.5


def test_the_floor_sinks_as_the_noise_grows() -> None:
    medians = []
    for noise_in_codes in (0.05, 0.25, 0.4):
        plane, slope = coded(noise_in_codes)
        found = code_floor(plane, slope, noise_of(noise_in_codes))
        medians.append(0.0 if found is None else float(np.median(found[0][:, :])))
    assert medians == sorted(medians, reverse=True)
    assert medians[0] > 0.012
    assert medians[-1] < 0.01


@pytest.mark.parametrize(
    ("codes", "crowding"),
    [([3, 4, 7, 4], 1), ([0, 0.25, 0.5, 0.75], 0), ([1, 1.5], 0), ([2.1, 5.1], 1)],
)
def test_first_harmonic_tells_crowding(codes: list[float], crowding: float) -> None:
    assert first_harmonic(np.array([codes], np.float32)) == pytest.approx([crowding], abs=1e-5)
