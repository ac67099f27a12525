"""Whole shadows against an independent wave-optics package.

Authority: LightPipes for Python 2.1.5 (PyPI; F. van Goor and others, BSD-3-Clause). It
propagates a plane wave past an opaque round screen; the squared amplitude is averaged over
wavelengths and over the pupil's image by a plain convolution here, without any code of this
project. Wavelengths as in the shipped table: flat from 430 to 660 nm.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from LightPipes import Begin, CircScreen, Forvard, Intensity
from scipy import fft

from motemap.optics.waves import shadows

if TYPE_CHECKING:
    from numpy.typing import NDArray

pytestmark = pytest.mark.external

TAU_UM = 4000 / 3
N_GRID = 768
STEP_UM = 0.8
N_COLOURS = 10
N_SUB = 8
METRE = 1e-6


@lru_cache(maxsize=3)
def coherent_loss(particle_um: float) -> NDArray[np.float64]:
    """Return the light lost behind an opaque disc lit by one point of the pupil, by LightPipes."""
    loss = np.zeros((N_GRID, N_GRID))
    for index in range(N_COLOURS):
        wavelength_um = 0.430 + (index + 0.5) / N_COLOURS * 0.230
        wave = Begin(N_GRID * STEP_UM * METRE, wavelength_um * METRE, N_GRID)
        wave = CircScreen(wave, particle_um / 2 * METRE)
        loss += 1 - Intensity(Forvard(wave, TAU_UM * METRE))
    return np.asarray(loss / N_COLOURS)


def pupil_image(blur_um: float) -> NDArray[np.float64]:
    """Return a disc of unit sum, sampled by area."""
    fine = ((np.arange(N_GRID * N_SUB) + 0.5) / N_SUB - 0.5 - N_GRID // 2) * STEP_UM
    inside = np.zeros((N_GRID, N_GRID))
    for row in range(N_GRID):
        down = fine[row * N_SUB : (row + 1) * N_SUB]
        half = np.sqrt(np.maximum((blur_um / 2) ** 2 - down**2, 0))
        covered = np.abs(fine)[None, :] < half[:, None]
        inside[row] = covered.reshape(N_SUB, N_GRID, N_SUB).mean(axis=(0, 2))
    return np.asarray(inside / inside.sum())


def through_pupil(loss: NDArray[np.float64], blur_um: float) -> NDArray[np.float64]:
    image = fft.ifftshift(pupil_image(blur_um))
    return np.asarray(fft.irfft2(fft.rfft2(loss) * fft.rfft2(image), s=loss.shape))


def radial_mean(
    values: NDArray[np.float64], reach_um: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return mean radius and mean value in rings of three steps about the grid's centre."""
    place = np.arange(N_GRID) - N_GRID // 2
    radius = np.hypot(place[:, None], place[None, :])
    ring = (radius / 3).astype(np.int64).ravel()
    counts = np.bincount(ring)
    radii_um = np.bincount(ring, weights=radius.ravel()) / counts * STEP_UM
    means = np.bincount(ring, weights=values.ravel()) / counts
    kept = radii_um < reach_um
    return radii_um[kept], means[kept]


@pytest.mark.parametrize("f_number", [8.0, 16.0, 22.0])
@pytest.mark.parametrize("particle_um", [20.0, 50.0, 100.0])
def test_profile_equals_an_independent_package(particle_um: float, f_number: float) -> None:
    blur_um = TAU_UM / f_number
    drawn = through_pupil(coherent_loss(particle_um), blur_um)
    radii_um, theirs = radial_mean(drawn, 0.9 * (particle_um + blur_um))
    ours = shadows(TAU_UM, f_number).profile(particle_um, radii_um)
    # Their screen is cut from 0.8 um squares without partial cover: 1 % of the area of the
    # smallest; ring means of 2.4 um round our curve off by as much at the steepest flank.
    np.testing.assert_allclose(ours, theirs, atol=0.025 * theirs.max())


def test_whole_loss_is_the_screens_area() -> None:
    # Babinet and energy conservation in their numbers: the periodic grid loses no light.
    whole_um2 = float(coherent_loss(50.0).sum()) * STEP_UM**2
    assert whole_um2 == pytest.approx(math.pi * 25**2, rel=0.01)
