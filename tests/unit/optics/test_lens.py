"""How deep dust on a lens can make its shadow, held against the shadow itself."""

from __future__ import annotations

import numpy as np
import pytest

from closed_forms import speck_depth_frac, speck_loss_frac
from motemap.optics.lens import (
    DEEPEST_FRAC,
    IRREGULAR,
    LARGEST_UM,
    SHARPEST_OF_WAVES,
    deepest_on_lens_frac,
    flank_on_lens_um,
    sharpest_on_lens_um,
    waves_flank_um,
)

RAYS_F = 1e-3


@pytest.mark.parametrize("particle_um", [80.0, 150.0, 250.0])
@pytest.mark.parametrize("blur_um", [700.0, 1500.0])
def test_a_round_particle_is_as_deep_as_its_flank_allows(
    particle_um: float, blur_um: float
) -> None:
    radius_um = np.arange(0.0, blur_um, 0.5)
    loss = speck_loss_frac(radius_um, particle_um, blur_um)
    depth_frac = speck_depth_frac(particle_um, blur_um)
    flank_um = depth_frac / float(np.abs(np.gradient(loss, radius_um)).max())
    width_um = 2 * float(radius_um[loss >= depth_frac / 2].max())
    # At a tiny f-number, so without diffraction, the flank is that of rays.
    deepest_frac = float(deepest_on_lens_frac(width_um, flank_um, RAYS_F))
    # The rim of the blur disc is curved and its chord a little shorter than the particle.
    assert deepest_frac == pytest.approx(IRREGULAR * depth_frac, rel=0.1)
    assert flank_on_lens_um(width_um, depth_frac, RAYS_F) == pytest.approx(flank_um, rel=0.1)


def test_diffraction_alone_softens_the_rim_of_the_smallest_dust() -> None:
    assert flank_on_lens_um(1000.0, 0.0, 22.0) == pytest.approx((0.55 * 22000.0 / 2) ** 0.5)


def test_a_flank_that_diffraction_explains_says_nothing_of_the_particle() -> None:
    waves_um = float(waves_flank_um(1000.0, 22.0))
    assert deepest_on_lens_frac(1000.0, SHARPEST_OF_WAVES * waves_um, 22.0) == pytest.approx(0.0)
    assert deepest_on_lens_frac(1000.0, 2 * waves_um, 22.0) > 0.05


@pytest.mark.parametrize("depth_frac", [0.01, 0.1, 0.3])
def test_the_sharpest_flank_and_the_deepest_disc_are_one_bound(depth_frac: float) -> None:
    sharpest_um = sharpest_on_lens_um(800.0, depth_frac, 22.0)
    assert deepest_on_lens_frac(800.0, sharpest_um, 22.0) == pytest.approx(depth_frac)


def test_nothing_on_a_lens_is_larger_than_its_limit_or_all_flank() -> None:
    assert deepest_on_lens_frac(2800.0, 2000.0, 22.0) == pytest.approx((LARGEST_UM / 2800.0) ** 2)
    assert deepest_on_lens_frac(400.0, 390.0, 22.0) == DEEPEST_FRAC
