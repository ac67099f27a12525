"""Marks of which a sum finds no light lost: more is gained round them than they take."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fields import bell, flat_frame, noisy
from motemap.coords import FramePoint
from motemap.particle import Doubt, doubted, measure_light, size_particles
from motemap.records import ImageInfo, MeasuredSpot, MeasuredSpots, Sensor
from sized import SPOT, STACK, size_one
from specked import PITCH_UM

BRIGHTENED = replace(SPOT, lost_area_px2=-3.0)
FIBRE = replace(BRIGHTENED, length_px=90.0)
FULL_FRAME = Sensor(
    format="full frame", width_mm=36.0, height_mm=24.0, pitch_um=PITCH_UM, source="assumed"
)
JPEG = ImageInfo(
    kind="jpeg", width_px=6000, height_px=4000, exif_orientation=None, bits=8, curve="srgb"
)


@pytest.mark.parametrize("f_number", [None, 22.0])
@pytest.mark.parametrize("spot", [BRIGHTENED, replace(BRIGHTENED, gain_ratio=1.2), FIBRE])
@pytest.mark.parametrize("lost_px2", [-3.0, 0.0])
def test_no_light_lost_is_no_size_and_not_the_size_nought(
    spot: MeasuredSpot, f_number: float | None, lost_px2: float
) -> None:
    particles = size_one(replace(spot, lost_area_px2=lost_px2), f_number=f_number)
    doubt = Doubt.of(JPEG, FULL_FRAME, STACK, 0.5)
    for told in (particles, doubted(particles, ~MeasuredSpots.of([spot]).are_long(), doubt)):
        for column in (told.lost_area_um2, told.particle_um, told.least_um, told.most_um):
            assert np.isnan(column).all()
    # What was seen is still said.
    assert particles.depth_frac.tolist() == [pytest.approx(spot.depth_frac, rel=0.6)]
    assert particles.length_um.tolist() == [pytest.approx(spot.length_px * PITCH_UM)]


def test_a_fibre_without_a_width_is_as_deep_as_it_was_measured() -> None:
    particles = size_one(FIBRE)
    assert particles.shadows is not None
    assert particles.depth_frac == pytest.approx([FIBRE.depth_frac])
    at_shot, wider = particles.shadows.depths_frac((22.0, 8.0))
    assert at_shot == pytest.approx([FIBRE.depth_frac])
    # A fibre's depth goes with the f-number.
    assert wider / at_shot == pytest.approx([8 / 22], rel=0.3)


def test_a_clear_drop_has_no_size_without_an_aperture_either() -> None:
    particles = size_one(replace(SPOT, gain_ratio=0.9), f_number=None)
    assert np.isnan(particles.particle_um).all()
    assert (particles.lost_area_um2 > 0).all()


def test_a_sum_that_finds_no_light_lost_is_not_the_smallest_speck() -> None:
    shape, noise_frac, f_number = (121, 161), 0.001, 22.0
    dark = bell(shape, 60.0, 80.0, 3.0, 0.1)
    bright = bell(shape, 60.0, 80.0, 9.0, -0.03)
    flat = flat_frame(dark + bright + noisy(shape, noise_frac, 4), noise_frac)
    spot = replace(
        SPOT,
        centre=FramePoint(row_px=60.0, col_px=80.0),
        depth_frac=0.07,
        width_px=7.0,
        length_px=7.0,
        lost_area_px2=2.0,
    )
    lights = measure_light(flat, [spot], stack=STACK, f_number=f_number, pitch_um=PITCH_UM)
    assert [light and light.area_um2 for light in lights] == [0.0]
    particles = size_particles(
        MeasuredSpots.of([spot]), lights, stack=STACK, f_number=f_number, pitch_um=PITCH_UM
    )
    assert np.isnan(particles.particle_um).all()
    assert np.isnan(particles.lost_area_um2).all()
    assert particles.depth_frac == pytest.approx([spot.depth_frac])
