"""The blur of pupil and pixel."""

import math

import numpy as np
import pytest

from motemap.errors import SettingsError
from motemap.synth.pupil import RGB, WHITE, Pupil, Spectrum, blur_transfer


@pytest.mark.parametrize("n_blades", [5, 7, 8])
def test_polygon_has_the_area_of_the_disc(n_blades: int) -> None:
    corners_um = Pupil(n_blades=n_blades, rotation_deg=11.0).corners_um(60.0)
    ends_um = np.roll(corners_um, -1, axis=0)
    cross = corners_um[:, 0] * ends_um[:, 1] - corners_um[:, 1] * ends_um[:, 0]
    assert 0.5 * cross.sum() == pytest.approx(math.pi * 30.0**2)


@pytest.mark.parametrize("n_blades", [0, 4, 7])
def test_transfer_is_that_of_a_densely_sampled_shape(n_blades: int) -> None:
    pupil, blur_um, step_um = Pupil(n_blades=n_blades, rotation_deg=20.0), 24.0, 2.0
    transfer = blur_transfer(pupil, blur_um, 4.0, (40, 54), step_um)
    right_um, down_um = np.meshgrid(np.arange(-20, 20, 0.1) + 0.05, np.arange(-20, 20, 0.1) + 0.05)
    inside = np.hypot(right_um, down_um) < 12.0
    if n_blades:
        corners_um = pupil.corners_um(blur_um)
        inside = np.ones_like(inside)
        for start, end in zip(corners_um, np.roll(corners_um, -1, axis=0), strict=True):
            edge = end - start
            inside &= edge[0] * (down_um - start[1]) - edge[1] * (right_um - start[0]) > 0
    for row, col in ((0, 1), (2, 0), (3, 2), (38, 5)):
        down_f, right_f = np.fft.fftfreq(40, step_um)[row], np.fft.rfftfreq(54, step_um)[col]
        wave = np.exp(-2j * math.pi * (right_f * right_um + down_f * down_um))
        pixel = np.sinc(4.0 * right_f) * np.sinc(4.0 * down_f)
        # a hundredth: the sampled edge is 0.1 um coarse
        assert transfer[row, col] == pytest.approx(wave[inside].mean() * pixel, abs=0.01)


def test_transfer_keeps_the_whole() -> None:
    assert blur_transfer(Pupil(), 60.0, 6.0, (32, 48), 2.0)[0, 0] == 1.0


@pytest.mark.parametrize("light", [RGB, WHITE])
def test_weights_add_up(light: Spectrum) -> None:
    assert [sum(row) for row in light.weights] == pytest.approx([1.0] * light.n_channels)
    assert len(light.wavelengths_um) >= 4


def test_refuses_weights_that_do_not_fit() -> None:
    with pytest.raises(SettingsError, match="wavelengths"):
        Spectrum(wavelengths_um=(0.5, 0.6), weights=((1.0,),))


def test_refuses_two_blades() -> None:
    with pytest.raises(SettingsError, match="2 blades"):
        Pupil(n_blades=2)
