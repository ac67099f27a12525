"""Forecasts: what is laid over the physics, not the physics itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from motemap.optics.apertures import THIRD_STOPS
from motemap.optics.depths import depth_curve, fibre_depth, speck_depth
from motemap.particle import (
    Shadow,
    particle_for_depth,
    shadow_depths,
)
from motemap.particle.forecast import forecast_stops
from motemap.records import Stack

STACK = Stack(distance_mm=1.3, uncertainty_mm=0.05, source="measured")
SPECK = Shadow(
    shape="speck",
    size_um=20.0,
    length_um=None,
    opacity_frac=1.0,
    factor=1.0,
    tau_um=1300.0,
    pitch_um=4.0,
)
FIBRE = replace(SPECK, shape="strip", size_um=8.0, length_um=90.0)


def test_depth_is_that_of_the_wave_model_times_its_factor() -> None:
    plain = float(speck_depth(20.0, 1300.0, 11.0, 4.0))
    assert SPECK.depth_frac(11.0) == pytest.approx(plain)
    assert replace(SPECK, factor=1.1).depth_frac(11.0) == pytest.approx(1.1 * plain)
    assert replace(SPECK, size_um=400.0, factor=1.5).depth_frac(22.0) == 1.0


def test_many_shadows_at_once_equal_each_alone() -> None:
    other = replace(SPECK, tau_um=900.0, opacity_frac=0.6)
    mixed = (SPECK, FIBRE, other, replace(SPECK, size_um=55.0))
    together = shadow_depths(mixed, 8.0)
    assert together.tolist() == pytest.approx([one.depth_frac(8.0) for one in mixed])


def test_a_short_fibre_fades_faster_at_wide_apertures() -> None:
    curve = depth_curve(1300.0, 5.6, 4.0, "strip")
    # 90 um of fibre in a blur disc of 232 um.
    filled = 90.0 / (1300.0 / 5.6)
    assert FIBRE.depth_frac(5.6) == pytest.approx(float(curve.depth(8.0)) * filled)
    long = replace(FIBRE, length_um=5000.0, pitch_um=1e-6)
    assert long.depth_frac(5.6) == pytest.approx(float(fibre_depth(8.0, 5000.0, 1300.0, 5.6)))


def test_a_mark_shows_from_the_widest_aperture_that_reaches_the_depth() -> None:
    series = forecast_stops((SPECK, replace(SPECK, size_um=2.0)), 0.02)
    first, never = series.shows_from_f
    assert never is None
    assert first is not None
    third = THIRD_STOPS.index(first)
    assert SPECK.depth_frac(first) >= 0.02 > SPECK.depth_frac(THIRD_STOPS[third - 1])
    assert list(series.depth_at[0]) == ["2.8", "4", "5.6", "8", "11", "16", "22"]
    depths = list(series.depth_at[0].values())
    assert depths == sorted(depths)


def test_smallest_speck_that_reaches_a_depth() -> None:
    size_um = particle_for_depth(0.01, stack=STACK, f_number=16.0, pitch_um=4.0)
    assert size_um is not None
    assert replace(SPECK, size_um=size_um).depth_frac(16.0) == pytest.approx(0.01, rel=0.01)
    narrower = particle_for_depth(0.01, stack=STACK, f_number=22.0, pitch_um=4.0)
    assert narrower is not None
    assert narrower < size_um


def test_no_speck_reaches_more_than_all_light_nor_an_unknown_stack() -> None:
    assert particle_for_depth(1.0, stack=STACK, f_number=16.0, pitch_um=4.0) is None
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert particle_for_depth(0.01, stack=unknown, f_number=16.0, pitch_um=4.0) is None
