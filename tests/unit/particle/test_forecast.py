"""Forecasts: what is laid over the physics, not the physics itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from motemap.optics.apertures import THIRD_STOPS
from motemap.optics.depths import depth_curve
from motemap.particle import CastShadows, particle_for_depth
from motemap.particle.forecast import first_stops
from motemap.records import Stack

STACK = Stack(distance_mm=1.3, uncertainty_mm=0.05, source="measured")
SPECK = CastShadows(
    is_strip=np.array([False]),
    size_um=np.array([20.0]),
    length_um=np.array([20.0]),
    opacity_frac=np.array([1.0]),
    factor=np.array([1.0]),
    tau_um=np.array([1300.0]),
    pitch_um=4.0,
)
FIBRE = replace(
    SPECK, is_strip=np.array([True]), size_um=np.array([8.0]), length_um=np.array([90.0])
)


def depth(one: CastShadows, f_number: float) -> float:
    """Return the depth of a single shadow."""
    return float(one.depths_frac((f_number,))[0, 0])


def together(*each: CastShadows) -> CastShadows:
    """Return several shadows in one."""
    return CastShadows(
        is_strip=np.concatenate([one.is_strip for one in each]),
        size_um=np.concatenate([one.size_um for one in each]),
        length_um=np.concatenate([one.length_um for one in each]),
        opacity_frac=np.concatenate([one.opacity_frac for one in each]),
        factor=np.concatenate([one.factor for one in each]),
        tau_um=np.concatenate([one.tau_um for one in each]),
        pitch_um=each[0].pitch_um,
    )


def test_depth_is_that_of_the_wave_model_times_its_factor() -> None:
    plain = float(depth_curve(1300.0, 11.0, 4.0).depth(20.0))
    assert depth(SPECK, 11.0) == pytest.approx(plain)
    assert depth(replace(SPECK, factor=np.array([1.1])), 11.0) == pytest.approx(1.1 * plain)
    large = replace(SPECK, size_um=np.array([400.0]), factor=np.array([1.5]))
    assert depth(large, 22.0) == 1.0


def test_many_shadows_at_once_equal_each_alone() -> None:
    other = replace(SPECK, tau_um=np.array([900.0]), opacity_frac=np.array([0.6]))
    mixed = (SPECK, FIBRE, other, replace(SPECK, size_um=np.array([55.0])))
    at_once = together(*mixed).depths_frac((8.0, 16.0))
    for depths, f_number in zip(at_once, (8.0, 16.0), strict=True):
        assert depths == pytest.approx([depth(one, f_number) for one in mixed])


def test_some_of_many_shadows_keep_their_depths() -> None:
    mixed = together(SPECK, FIBRE, replace(SPECK, size_um=np.array([55.0])))
    some = mixed.some(np.array([2, 1]))
    assert some.depths_frac((8.0,))[0] == pytest.approx(mixed.depths_frac((8.0,))[0, [2, 1]])


def test_a_short_fibre_fades_faster_at_wide_apertures() -> None:
    curve = depth_curve(1300.0, 5.6, 4.0, "strip")
    # 90 um of fibre in a blur disc of 232 um.
    filled = 90.0 / (1300.0 / 5.6)
    assert depth(FIBRE, 5.6) == pytest.approx(float(curve.depth(8.0)) * filled)
    long = replace(FIBRE, length_um=np.array([5000.0]), pitch_um=1e-6)
    assert depth(long, 5.6) == pytest.approx(
        float(depth_curve(1300.0, 5.6, 0.0, "strip").depth(8.0))
    )


def test_a_mark_shows_from_the_widest_aperture_that_reaches_the_depth() -> None:
    two = together(SPECK, replace(SPECK, size_um=np.array([2.0])))
    first, never = first_stops(two.depths_frac(THIRD_STOPS) >= 0.02).tolist()
    assert np.isnan(never)
    third = THIRD_STOPS.index(first)
    assert depth(SPECK, first) >= 0.02 > depth(SPECK, THIRD_STOPS[third - 1])


def test_smallest_speck_that_reaches_a_depth() -> None:
    size_um = particle_for_depth(0.01, stack=STACK, f_number=16.0, pitch_um=4.0)
    assert size_um is not None
    smallest = replace(SPECK, size_um=np.array([size_um]))
    assert depth(smallest, 16.0) == pytest.approx(0.01, rel=0.01)
    narrower = particle_for_depth(0.01, stack=STACK, f_number=22.0, pitch_um=4.0)
    assert narrower is not None
    assert narrower < size_um


def test_no_speck_reaches_more_than_all_light_nor_an_unknown_stack() -> None:
    assert particle_for_depth(1.0, stack=STACK, f_number=16.0, pitch_um=4.0) is None
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert particle_for_depth(0.01, stack=unknown, f_number=16.0, pitch_um=4.0) is None
