"""The wave-optics shadow against a separate simulation and against conservation laws.

The values marked "simulated" come from two earlier two-dimensional Fresnel simulations
(white light 430-660 nm, tau 1333 um, opaque disc), written apart from this package; the
rest follows from energy conservation and scaling.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from closed_forms import speck_depth_frac, speck_loss_frac, strip_loss_frac
from motemap.optics.depths import depth_curve, depths_on
from motemap.optics.table import disc_kernel, shadow_table, wave_length_um
from motemap.optics.waves import blurred, ring_middles, shadows, smoothed, smoothing_matrix

TAU_UM = 4000 / 3
BLUR_22_UM = TAU_UM / 22


@pytest.mark.parametrize(
    ("particle_um", "f_number", "peak_percent", "half_width_um"),
    [
        (10.0, 16.0, 2.78, 70.8),
        (10.0, 22.0, 6.99, 40.8),
        (20.0, 16.0, 8.66, 73.2),
        (20.0, 22.0, 20.1, 44.4),
        (50.0, 16.0, 48.0, 66.0),
        (50.0, 22.0, 70.6, 52.8),
        (100.0, 22.0, 92.7, 100.8),
    ],
)
def test_peak_and_width_of_simulated_shadows(
    particle_um: float, f_number: float, peak_percent: float, half_width_um: float
) -> None:
    seen = shadows(TAU_UM, f_number)
    # The simulation had four wavelengths and a grid of about 1 um: 2 % of depth, 1.5 um.
    assert 100 * float(depth_curve(TAU_UM, f_number).depth(particle_um)) == pytest.approx(
        peak_percent, rel=0.02
    )
    assert seen.half_width_um(particle_um) == pytest.approx(half_width_um, abs=1.5)


@pytest.mark.parametrize(
    ("particle_um", "f_number", "shares"),
    [
        (10.0, 16.0, (1.42, 1.24, 1.16, 1.11)),
        (10.0, 22.0, (1.48, 1.45, 1.25, 1.15)),
        (20.0, 16.0, (1.25, 1.10, 1.08, 1.05)),
        (20.0, 22.0, (1.30, 1.12, 1.10, 1.06)),
        (50.0, 22.0, (1.11, 1.04, 1.03, 1.02)),
        (100.0, 22.0, (1.05, 1.02, 1.01, 1.01)),
    ],
)
def test_light_lost_within_a_radius(
    particle_um: float, f_number: float, shares: tuple[float, ...]
) -> None:
    seen = shadows(TAU_UM, f_number)
    ray_radius_um = (particle_um + TAU_UM / f_number) / 2
    for times, share in zip((1, 1.5, 2, 3), shares, strict=True):
        enclosed = seen.enclosed_um2(times * ray_radius_um)
        found = float(np.interp(particle_um, seen.size_um, enclosed / seen.size_um**2))
        assert 4 / math.pi * found == pytest.approx(share, abs=0.015)


@pytest.mark.parametrize(
    ("particle_um", "f_number", "ring"),
    [(10.0, 16.0, 0.18), (10.0, 22.0, 0.12), (20.0, 22.0, 0.09), (50.0, 22.0, 0.03)],
)
def test_bright_ring_of_simulated_shadows(particle_um: float, f_number: float, ring: float) -> None:
    seen = shadows(TAU_UM, f_number)
    curve = seen.profile(particle_um, seen.radius_um)
    assert -curve.min() / curve.max() == pytest.approx(ring, abs=0.011)


def test_whole_light_lost_is_the_area_of_the_speck() -> None:
    # Energy conservation: far out the bright halo has given back what was lost twice.
    seen = shadows(TAU_UM, 22.0)
    far_um = float(seen.radius_um[-1])
    for particle_um in (30.0, 60.0, 120.0, 300.0):
        enclosed = float(np.interp(particle_um, seen.size_um, seen.enclosed_um2(far_um)))
        # Beyond the edge of the table a share of about lambda tau / (pi^2 d R) is still out.
        assert enclosed == pytest.approx(math.pi * particle_um**2 / 4, rel=0.02)


def test_a_film_takes_its_opacity_times_its_area() -> None:
    seen = shadows(TAU_UM, 22.0)
    enclosed = seen.enclosed_um2(float(seen.radius_um[-1]), opacity_frac=0.36)
    area_um2 = float(np.interp(100.0, seen.size_um, enclosed))
    assert area_um2 == pytest.approx(0.36 * math.pi * 50**2, rel=0.02)


def test_large_specks_obey_rays() -> None:
    seen = shadows(300.0, 5.6)
    radii_um = np.array([0.0, 60.0, 95.0, 110.0, 140.0])
    ray = speck_loss_frac(radii_um, 200.0, 300 / 5.6)
    # Fresnel number 61; the bright ring of a straight edge is still a few per cent.
    np.testing.assert_allclose(seen.profile(200.0, radii_um), ray, atol=0.03)


def test_wide_apertures_of_large_specks_obey_rays() -> None:
    for particle_um in (100.0, 200.0):
        ray = speck_depth_frac(particle_um, TAU_UM / 2.8)
        assert float(depth_curve(TAU_UM, 2.8).depth(particle_um)) == pytest.approx(ray, rel=0.05)


def test_one_scale_holds_all_stacks() -> None:
    # sqrt(lambda tau) is the only length: twice the length, four times the distance, half B.
    near = depth_curve(500.0, 16.0).depth([8.0, 20.0, 45.0])
    far = depth_curve(2000.0, 32.0).depth([16.0, 40.0, 90.0])
    np.testing.assert_allclose(near, far, rtol=1e-9)


def test_tiny_specks_go_with_the_square_of_their_size() -> None:
    depth = depth_curve(TAU_UM, 22.0).depth([0.2, 0.1])
    assert depth[0] / depth[1] == pytest.approx(4.0, rel=1e-9)


def test_depth_turns_back_into_size() -> None:
    curve = depth_curve(TAU_UM, 16.0, 4.0)
    sizes_um = np.array([0.5, 3.0, 9.0, 22.0, 47.0, 80.0])
    np.testing.assert_allclose(curve.size_for(curve.depth(sizes_um)), sizes_um, rtol=2e-3)
    assert curve.size_for(0.99999) == np.inf


def test_depth_rises_with_size_and_opacity() -> None:
    curve = depth_curve(TAU_UM, 11.0, 4.0)
    by_size = curve.depth(np.geomspace(1, 90, 60))
    assert np.all(np.diff(by_size) > 0)
    by_opacity = curve.depth(30.0, np.linspace(0.05, 1, 20))
    assert np.all(np.diff(by_opacity) > 0)


def test_a_faint_film_is_as_deep_as_it_is_opaque() -> None:
    # Far wider than the blur disc, a film takes its own opacity.
    assert float(depth_curve(TAU_UM, 22.0).depth(800.0, 0.1)) == pytest.approx(0.1, abs=0.01)


def test_pixels_soften_a_sharp_shadow() -> None:
    fine = float(depth_curve(400.0, 32.0, 0.5).depth(10.0))
    coarse = float(depth_curve(400.0, 32.0, 9.0).depth(10.0))
    assert coarse < 0.9 * fine


def test_profile_of_any_size_lies_between_those_of_the_table() -> None:
    seen = shadows(TAU_UM, 16.0, 4.0)
    low, high = float(seen.size_um[70]), float(seen.size_um[71])
    middle = seen.profile((low + high) / 2, [0.0])
    assert seen.profile(low, [0.0]) < middle < seen.profile(high, [0.0])


def test_thin_fibres_fade_with_the_f_number_not_with_its_square() -> None:
    narrow, wide = (
        float(depth_curve(TAU_UM, stop, 0.0, "strip").depth(5.0)) for stop in (5.6, 2.8)
    )
    assert narrow / wide == pytest.approx(2.0, rel=0.1)


def test_fibres_obey_the_strip_law_at_wide_apertures() -> None:
    ray = float(strip_loss_frac(0.0, 30.0, TAU_UM / 2.8))
    # The rim of the pupil's image adds a few per cent of ripple.
    assert float(depth_curve(TAU_UM, 2.8, 0.0, "strip").depth(30.0)) == pytest.approx(ray, rel=0.06)


def test_light_beside_a_fibre_adds_up_to_its_width() -> None:
    seen = shadows(TAU_UM, 22.0, shape="strip")
    enclosed = seen.enclosed_um2(float(seen.radius_um[-1]))
    assert float(np.interp(20.0, seen.size_um, enclosed)) == pytest.approx(20.0, rel=0.05)


def test_disc_kernel_keeps_a_level_field() -> None:
    edges = np.linspace(0, 12, 61)
    weights = disc_kernel(np.array([0.0, 1.3, 4.0]), edges, 5.0)
    np.testing.assert_allclose(weights.sum(axis=1), 1.0)


def test_unit_of_length() -> None:
    assert wave_length_um(1333.3) == pytest.approx(math.sqrt(0.545 * 1333.3))


def test_blocked_light_never_exceeds_what_there_is() -> None:
    table = shadow_table()
    loss = table.speck_cross - table.speck_power
    assert loss.max() <= 1 + 1e-6
    assert loss.min() > -1.0


def test_depths_at_several_apertures_are_those_at_each() -> None:
    sizes_um, opacity_frac = np.array([1.0, 12.0, 130.0]), np.array([1.0, 0.3, 0.1])
    curves = [depth_curve(TAU_UM, f_number, 4.0) for f_number in (2.8, 8.0)]
    both = depths_on(curves, sizes_um, opacity_frac)
    assert both.shape == (2, 3)
    for depths, curve in zip(both, curves, strict=True):
        np.testing.assert_array_equal(depths, curve.depth(sizes_um, opacity_frac))


def test_smoothing_by_a_matrix_is_smoothing() -> None:
    n_radii, step, cell = 70, 0.09, 0.4
    sharp = blurred(ring_middles(n_radii, step), 3.0, "speck", 24)
    smooth = smoothed(sharp, step, cell, "speck")
    # Lengths may be in any unit, in steps for one.
    matrix = smoothing_matrix(n_radii, 1.0, cell / step, "speck")
    np.testing.assert_allclose(matrix @ sharp.cross, smooth.cross, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(matrix.sum(axis=1), 1.0)
