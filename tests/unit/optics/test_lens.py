"""How deep dust on a lens can make its shadow, held against the shadow itself."""

from __future__ import annotations

import numpy as np
import pytest

from closed_forms import speck_depth_frac, speck_loss_frac
from motemap.optics.lens import (
    DEEPEST_FRAC,
    IRREGULAR,
    LARGEST_UM,
    deepest_on_lens_frac,
    flank_on_lens_um,
)


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
    deepest_frac = float(deepest_on_lens_frac(width_um, flank_um))
    # The rim of the blur disc is curved and its chord a little shorter than the particle.
    assert deepest_frac == pytest.approx(IRREGULAR * depth_frac, rel=0.1)
    # At a tiny f-number, so without diffraction, the flank is that of rays.
    assert flank_on_lens_um(width_um, depth_frac, 1e-3) == pytest.approx(flank_um, rel=0.1)


def test_diffraction_alone_softens_the_rim_of_the_smallest_dust() -> None:
    assert flank_on_lens_um(1000.0, 0.0, 22.0) == pytest.approx((0.55 * 22000.0 / 2) ** 0.5)


def test_nothing_on_a_lens_is_larger_than_its_limit_or_all_flank() -> None:
    assert deepest_on_lens_frac(2800.0, 2000.0) == pytest.approx((LARGEST_UM / 2800.0) ** 2)
    assert deepest_on_lens_frac(400.0, 390.0) == DEEPEST_FRAC
