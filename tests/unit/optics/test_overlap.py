"""The blurred shadow by rays against values worked by hand or by an independent computation.

All tables here were derived from first principles (blur ``tau / N``, overlap of two discs,
share of a disc between two chords) and computed apart from this package; none has a
published source, unless a test names one.
"""

import math

import numpy as np
import pytest

from closed_forms import (
    exact_blur_um,
    speck_depth_frac,
    speck_loss_frac,
    stack_tau_um,
    strip_loss_frac,
    tiny_speck_factor,
)
from motemap.optics.overlap import blur_um, disc_overlap_area, strip_share

TAU_UM = 2000 / 1.5
LAYERS = ((500.0, 1.52), (1200.0, 1.54), (600.0, 1.0), (700.0, 1.52))


@pytest.mark.parametrize(
    ("f_number", "paraxial_um", "exact_um"),
    [
        (1.4, 952.38, 980.58),
        (2.8, 476.19, 479.60),
        (4.0, 333.33, 334.50),
        (5.6, 238.10, 238.52),
        (8.0, 166.67, 166.81),
        (11.0, 121.21, 121.27),
        (16.0, 83.33, 83.35),
        (22.0, 60.61, 60.61),
        (32.0, 41.67, 41.67),
    ],
)
def test_blur_disc_of_two_millimetres_of_glass(
    f_number: float, paraxial_um: float, exact_um: float
) -> None:
    # Derived: tau / N and 2 t / sqrt(4 N^2 n^2 - 1); printed to 0.01 um.
    assert blur_um(TAU_UM, f_number) == pytest.approx(paraxial_um, abs=0.005)
    assert exact_blur_um([(2000.0, 1.5)], f_number) == pytest.approx(exact_um, abs=0.005)


@pytest.mark.parametrize(
    ("thickness_mm", "f_number", "blur"),
    [
        (0.5, 2.8, 117.5),
        (0.8, 5.6, 94.0),
        (1.0, 11.0, 59.8),
        (2.5, 16.0, 102.8),
        (4.0, 22.0, 119.6),
    ],
)
def test_blur_disc_by_thickness(thickness_mm: float, f_number: float, blur: float) -> None:
    tau_um = stack_tau_um([(thickness_mm * 1000, 1.52)])
    assert blur_um(tau_um, f_number) == pytest.approx(blur, abs=0.05)


def test_layers_add_up_as_air_equivalents() -> None:
    tau_um = stack_tau_um(LAYERS)
    assert tau_um == pytest.approx(2168.7, abs=0.05)
    assert blur_um(tau_um, 22) == pytest.approx(98.58, abs=0.005)
    assert exact_blur_um(LAYERS, 22) == pytest.approx(98.59, abs=0.005)
    assert blur_um(tau_um, 2.8) == pytest.approx(774.5, abs=0.05)
    assert exact_blur_um(LAYERS, 2.8) == pytest.approx(781.9, abs=0.05)


@pytest.mark.parametrize(
    ("particle_um", "depths_percent"),
    [
        (5.0, (0.011, 0.044, 0.09, 0.17, 0.36, 0.68)),
        (20.0, (0.18, 0.71, 1.44, 2.72, 5.76, 10.89)),
        (50.0, (1.10, 4.41, 9.00, 17.0, 36.0, 68.1)),
        (100.0, (4.41, 17.6, 36.0, 68.1, 100.0, 100.0)),
        (200.0, (17.6, 70.6, 100.0, 100.0, 100.0, 100.0)),
    ],
)
def test_centre_depth_by_rays(particle_um: float, depths_percent: tuple[float, ...]) -> None:
    for f_number, percent in zip((2.8, 5.6, 8, 11, 16, 22), depths_percent, strict=True):
        depth = speck_depth_frac(particle_um, blur_um(TAU_UM, f_number))
        # Half of the last digit of three.
        assert 100 * depth == pytest.approx(percent, rel=0.005, abs=0.005)


@pytest.mark.parametrize(
    ("particle_um", "radii_um", "losses"),
    [
        (
            20.0,
            (0, 10, 20, 25, 30, 35, 40, 41),
            (0.10890, 0.10890, 0.10890, 0.08672, 0.05270, 0.02077, 0.00030, 0.0),
        ),
        (
            100.0,
            (0, 20, 30, 40, 50, 60, 70, 80, 81),
            (1, 0.99905, 0.84723, 0.64167, 0.43509, 0.24634, 0.09154, 0.00047, 0),
        ),
    ],
)
def test_profile_is_the_overlap_of_two_discs(
    particle_um: float, radii_um: tuple[float, ...], losses: tuple[float, ...]
) -> None:
    found = speck_loss_frac(np.array(radii_um), particle_um, 60.606)
    np.testing.assert_allclose(found, losses, atol=6e-6)


def test_integral_of_a_shadow_is_the_area_of_the_speck() -> None:
    radii_um = np.linspace(0, 45, 4501)
    loss = speck_loss_frac(radii_um, 20.0, 60.606)
    area = float(np.trapezoid(2 * np.pi * radii_um * loss, radii_um))
    # The trapezium rule on 0.01 um is good to 1e-6.
    assert area == pytest.approx(math.pi * 10**2, rel=1e-5)


def test_overlap_of_discs_inside_outside_and_alike() -> None:
    found = disc_overlap_area([0.0, 1.0, 7.0, 0.0], [2.0, 5.0, 3.0, 0.0], [5.0, 2.0, 3.0, 1.0])
    np.testing.assert_allclose(found, [4 * math.pi, 4 * math.pi, 0.0, 0.0], atol=1e-12)
    # Two unit discs one radius apart: 2 pi / 3 - sqrt(3) / 2.
    assert disc_overlap_area(1.0, 1.0, 1.0) == pytest.approx(2 * math.pi / 3 - math.sqrt(3) / 2)


@pytest.mark.parametrize(
    ("width_um", "depths_percent"),
    [
        (5.0, (1.34, 2.67, 3.82, 5.25, 7.63, 10.49)),
        (15.0, (4.01, 8.02, 11.44, 15.72, 22.79, 31.19)),
        (30.0, (8.02, 16.00, 22.79, 31.19, 44.83, 60.35)),
    ],
)
def test_centre_depth_of_a_fibre(width_um: float, depths_percent: tuple[float, ...]) -> None:
    for f_number, percent in zip((2.8, 5.6, 8, 11, 16, 22), depths_percent, strict=True):
        depth = strip_loss_frac(0.0, width_um, blur_um(TAU_UM, f_number))
        assert 100 * depth == pytest.approx(percent, abs=0.006)


def test_share_of_a_disc_left_of_a_chord() -> None:
    np.testing.assert_allclose(strip_share([-2.0, -1.0, 0.0, 1.0, 3.0]), [0, 0, 0.5, 1, 1])


@pytest.mark.parametrize(("f_number", "factor"), [(22, 3.404), (16, 1.191), (11, 3.999), (8, 2.19)])
def test_on_axis_factor_of_a_tiny_speck(f_number: float, factor: float) -> None:
    # Derived: 2 (1 - cos(pi tau / (4 lambda N^2))), printed to three figures.
    assert tiny_speck_factor(TAU_UM, f_number, 0.55) == pytest.approx(factor, abs=0.006)
