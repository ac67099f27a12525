"""The drawn shadow against closed forms and an independent integration.

Sources: area shared by two discs, E. W. Weisstein, "Circle-Circle Intersection", MathWorld (from
memory); Fresnel diffraction by a disc as a Hankel integral, J. W. Goodman, Introduction to Fourier
Optics (from memory), integrated by scipy.integrate.quad; the bright point on the axis behind an
opaque disc, as bright as without it, E. Hecht, Optics (from memory).
"""

import math

import numpy as np
import pytest
from scipy import integrate, special

from motemap.synth.masks import Outline, SpeckMask
from motemap.synth.pupil import Pupil, Spectrum
from motemap.synth.shadow import Shadow, ShadowOptics, cast_shadow

pytestmark = pytest.mark.external

TAU_UM = 1333.3
ROW_PX, COL_PX = 40.0, 90.0


def shared_area(first_radius: float, second_radius: float, distance: float) -> float:
    if distance <= abs(first_radius - second_radius):
        return math.pi * min(first_radius, second_radius) ** 2
    if distance >= first_radius + second_radius:
        return 0.0
    d, r, big = distance, first_radius, second_radius
    kite = (-d + r + big) * (d + r - big) * (d - r + big) * (d + r + big)
    return (
        r**2 * math.acos((d**2 + r**2 - big**2) / (2 * d * r))
        + big**2 * math.acos((d**2 + big**2 - r**2) / (2 * d * big))
        - 0.5 * math.sqrt(kite)
    )


def draw(diameter_um: float, f_number: float, wavelength_um: float, pitch_um: float) -> Shadow:
    optics = ShadowOptics(
        pitch_um=pitch_um,
        f_number=f_number,
        tau_um=TAU_UM,
        pupil=Pupil(n_blades=0),
        light=Spectrum(wavelengths_um=(wavelength_um,), weights=((1.0,),)),
    )
    mask = SpeckMask(outline=Outline(diameter_um=diameter_um))
    return cast_shadow(mask, optics, row_px=ROW_PX, col_px=COL_PX)


def profile(shadow: Shadow, n_points: int) -> np.ndarray:
    first = int(COL_PX) - shadow.left_px
    return shadow.loss[0, int(ROW_PX) - shadow.top_px, first : first + n_points]


@pytest.mark.parametrize(
    ("diameter_um", "f_number"), [(20.0, 22.0), (60.0, 22.0), (100.0, 22.0), (100.0, 11.0)]
)
def test_without_waves_the_loss_is_the_shared_area_of_two_discs(
    diameter_um: float, f_number: float
) -> None:
    pitch_um, blur_um = 1.0, TAU_UM / f_number
    shadow = draw(diameter_um, f_number, 0.004, pitch_um)
    found = profile(shadow, 80)
    expected = [
        shared_area(diameter_um / 2, blur_um / 2, step * pitch_um) / (math.pi * blur_um**2 / 4)
        for step in range(80)
    ]
    # 1 % of full depth: a step of 2 um cannot carry the kinks of the overlap
    assert found == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("diameter_um", [200.0, 300.0])
def test_a_large_disc_obeys_rays(diameter_um: float) -> None:
    # Fresnel number 13 and more; the shadow of its edge fringes by a few per cent
    blur_um = TAU_UM / 16.0
    shadow = draw(diameter_um, 16.0, 0.55, 4.0)
    found = profile(shadow, 60)
    expected = [
        shared_area(diameter_um / 2, blur_um / 2, step * 4.0) / (math.pi * blur_um**2 / 4)
        for step in range(60)
    ]
    assert found == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("diameter_um", [40.0, 80.0])
def test_single_wave_agrees_with_the_hankel_integral(
    diameter_um: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("motemap.synth.shadow.STEP_PER_ZONE", 0.03)
    # with no blur to measure the room by, the unblurred halo would else come round again
    monkeypatch.setattr("motemap.synth.shadow.ROOM_ZONES", 12.0)
    wavelength_um, pitch_um = 0.55, 1.0
    wave_number = 2 * math.pi / wavelength_um
    shadow = draw(diameter_um, 1e5, wavelength_um, pitch_um)

    def light_at(radius_um: float) -> float:
        def wave(r_um: float) -> complex:
            bend = wave_number / (2 * TAU_UM)
            ripple = special.j0(wave_number * radius_um * r_um / TAU_UM)
            return complex(np.exp(1j * bend * r_um**2) * ripple * r_um)

        stopped, _ = integrate.quad(wave, 0.0, diameter_um / 2, complex_func=True)
        factor = -1j * wave_number / TAU_UM
        phase = np.exp(1j * wave_number * radius_um**2 / (2 * TAU_UM))
        return float(abs(1.0 - factor * phase * stopped) ** 2)

    expected = [1.0 - light_at(step * pitch_um) for step in range(60)]
    # 2 % of the light: the pixel is 1 um wide and the grid step 0.5 um
    assert profile(shadow, 60) == pytest.approx(expected, abs=0.02)
    assert expected[0] == pytest.approx(0.0, abs=1e-6)


def test_bright_point_on_the_axis_behind_an_opaque_disc() -> None:
    shadow = draw(100.0, 1e5, 0.55, 0.5)
    # 5 %: the point is a few micrometres wide and the pixel half of one
    assert profile(shadow, 1)[0] == pytest.approx(0.0, abs=0.05)
