"""The light a mark takes in all, on shadows whose light is known."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from fields import flat_frame, noisy
from motemap.coords import FramePoint
from motemap.optics.waves import shadows
from motemap.particle import measure_light
from motemap.records import MeasuredSpot, Stack

if TYPE_CHECKING:
    from motemap.records import FlatFrame

STACK = Stack(distance_mm=1.3, uncertainty_mm=0.04, source="measured")
CELL_UM = 8.0
F_NUMBER = 16.0
SHAPE = (71, 95)
NOISE_FRAC = 0.001


def shadow_field(
    particle_um: float, opacity: float = 1.0, level: float = 0.0
) -> tuple[FlatFrame, MeasuredSpot]:
    """Return a field with the model's own round shadow, and what was measured of it."""
    seen = shadows(1300.0, F_NUMBER, CELL_UM)
    down = np.arange(SHAPE[0])[:, None] - 34.0
    right = np.arange(SHAPE[1])[None, :] - 46.0
    loss = seen.profile(particle_um, np.hypot(down, right) * CELL_UM, opacity)
    contrast = (level - loss + noisy(SHAPE, NOISE_FRAC, 3)).astype(np.float32)
    width_um = seen.half_width_um(particle_um, opacity)
    spot = MeasuredSpot(
        centre=FramePoint(row_px=34.0, col_px=46.0),
        depth_frac=float(loss.max()),
        snr=300.0,
        width_px=width_um / CELL_UM,
        length_px=width_um / CELL_UM,
        lost_area_px2=opacity * np.pi * (particle_um / CELL_UM) ** 2 / 4,
    )
    return flat_frame(contrast, NOISE_FRAC), spot


@pytest.mark.parametrize("particle_um", [15.0, 30.0, 60.0, 95.0, 140.0, 200.0])
def test_round_opaque_specks(particle_um: float) -> None:
    flat, spot = shadow_field(particle_um)
    (light,) = measure_light(flat, [spot], stack=STACK, f_number=F_NUMBER, pitch_um=CELL_UM)
    assert light is not None
    # Half of that in diameter; the smallest is 2 % deep in 0.1 % noise.
    assert light.area_um2 == pytest.approx(np.pi * particle_um**2 / 4, rel=0.07)
    assert light.opacity_frac == 1.0
    assert light.depth_frac == pytest.approx(spot.depth_frac, rel=0.07)
    assert light.misfit < 1.5
    assert 0.0 < light.error_frac < 0.2


@pytest.mark.parametrize("opacity", [0.85, 0.55])
def test_part_transparent_specks(opacity: float) -> None:
    flat, spot = shadow_field(70.0, opacity)
    (light,) = measure_light(flat, [spot], stack=STACK, f_number=F_NUMBER, pitch_um=CELL_UM)
    assert light is not None
    assert light.opacity_frac == pytest.approx(opacity, abs=0.16)
    assert light.area_um2 == pytest.approx(opacity * np.pi * 35**2, rel=0.06)


@pytest.mark.parametrize("particle_um", [20.0, 30.0])
def test_a_shadow_that_was_smoothed_is_not_taken_for_a_transparent_speck(
    particle_um: float,
) -> None:
    flat, spot = shadow_field(particle_um)
    # Noise reduction: blurred where it is faint, and its faint bright ring is gone.
    smooth = gaussian_filter(flat.contrast[:, :], 1.0)
    smoothed = np.where(smooth > 0, 0.3 * smooth, smooth).astype(np.float32)
    smoothed += noisy(SHAPE, NOISE_FRAC, 5)
    cooked = flat_frame(smoothed, NOISE_FRAC)
    wide = replace(spot, width_px=spot.width_px * 1.1, length_px=spot.length_px * 1.1)
    sizes_um, opacities = [], []
    for is_cooked in (False, True):
        (light,) = measure_light(
            cooked,
            [wide],
            stack=STACK,
            f_number=F_NUMBER,
            pitch_um=CELL_UM,
            is_cooked=is_cooked,
        )
        assert light is not None
        sizes_um.append(np.sqrt(4 * light.area_um2 / np.pi))
        opacities.append(light.opacity_frac)
    assert opacities[1] > opacities[0]
    assert sizes_um[1] == pytest.approx(particle_um, rel=0.12)
    assert abs(sizes_um[1] / particle_um - 1) < abs(sizes_um[0] / particle_um - 1)


def test_a_local_level_does_not_count_as_light_lost() -> None:
    flat, spot = shadow_field(40.0, level=0.01)
    (light,) = measure_light(flat, [spot], stack=STACK, f_number=F_NUMBER, pitch_um=CELL_UM)
    assert light is not None
    assert light.area_um2 == pytest.approx(np.pi * 20**2, rel=0.04)


def test_a_mark_of_another_distance_is_summed_and_its_misfit_told() -> None:
    flat, spot = shadow_field(40.0)
    far = Stack(distance_mm=0.4, uncertainty_mm=0.02, source="given")
    (light,) = measure_light(flat, [spot], stack=far, f_number=F_NUMBER, pitch_um=CELL_UM)
    assert light is not None
    assert light.misfit > 4
    assert light.opacity_frac == 1.0
    # The sum needs no shape: only its window is laid out for another blur.
    assert light.area_um2 == pytest.approx(np.pi * 20**2, rel=0.15)


def test_what_cannot_be_measured_is_none() -> None:
    flat, spot = shadow_field(40.0)
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert measure_light(flat, [spot], stack=unknown, f_number=16.0, pitch_um=CELL_UM) == (None,)
    blank = flat_frame(np.zeros(SHAPE, np.float32), NOISE_FRAC)
    assert measure_light(blank, [spot], stack=STACK, f_number=16.0, pitch_um=CELL_UM) == (None,)
    assert measure_light(flat, [], stack=STACK, f_number=16.0, pitch_um=CELL_UM) == ()


def test_a_mark_that_fills_the_frame_is_not_summed() -> None:
    flat, spot = shadow_field(40.0)
    huge = replace(spot, width_px=400.0, lost_area_px2=9000.0)
    (light,) = measure_light(flat, [huge], stack=STACK, f_number=F_NUMBER, pitch_um=CELL_UM)
    assert light is None
