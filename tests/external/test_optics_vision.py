"""Contrast sensitivity of the eye against another implementation of the same formula.

Authority: colour-science 0.4.7 (PyPI, BSD-3-Clause), `colour.contrast.barten1999`, after
P. G. J. Barten, Contrast Sensitivity of the Human Eye and Its Effects on Image Quality,
SPIE 1999.
"""

import numpy as np
import pytest
from colour.contrast import contrast_sensitivity_function_Barten1999
from colour.contrast.barten1999 import (
    maximum_angular_size_Barten1999,
    optical_MTF_Barten1999,
    pupil_diameter_Barten1999,
    retinal_illuminance_Barten1999,
    sigma_Barten1999,
)

from motemap.optics.vision import (
    Eye,
    eye_blur_deg,
    eye_transfer,
    integration_deg,
    pupil_mm,
    retinal_troland,
    sensitivity,
)

pytestmark = pytest.mark.external

CYCLES_DEG = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0])


@pytest.mark.parametrize(("luminance", "field_deg"), [(0.5, 5.0), (20.0, 60.0), (300.0, 12.0)])
def test_pupil_and_retina(luminance: float, field_deg: float) -> None:
    pupil = pupil_mm(luminance, field_deg)
    assert pupil == pytest.approx(float(pupil_diameter_Barten1999(luminance, field_deg)))
    troland = float(retinal_illuminance_Barten1999(luminance, pupil))
    assert retinal_troland(luminance, pupil) == pytest.approx(troland)


def test_optics_of_the_eye() -> None:
    blur = float(sigma_Barten1999(0.5, 0.08, 2.1)) / 60
    assert eye_blur_deg(2.1) == pytest.approx(blur)
    theirs = optical_MTF_Barten1999(CYCLES_DEG, 0.01)
    np.testing.assert_allclose(eye_transfer(CYCLES_DEG, 0.01), theirs)
    theirs = maximum_angular_size_Barten1999(CYCLES_DEG, 60, 12, 15)
    np.testing.assert_allclose(integration_deg(CYCLES_DEG), theirs)


@pytest.mark.parametrize("field_deg", [0.3, 2.0, 60.0])
def test_contrast_sensitivity(field_deg: float) -> None:
    eye = Eye(blur_deg=0.0101, troland=240.0, photons=1.2e6)
    theirs = contrast_sensitivity_function_Barten1999(
        CYCLES_DEG, sigma=0.0101, X_0=field_deg, Y_0=field_deg, E=240.0, p=1.2e6
    )
    np.testing.assert_allclose(sensitivity(CYCLES_DEG, eye, field_deg), theirs, rtol=1e-9)


def test_contrast_sensitivity_of_an_average_observer() -> None:
    pupil = 2.1
    eye = Eye(blur_deg=eye_blur_deg(pupil), troland=retinal_troland(20.0, pupil))
    theirs = contrast_sensitivity_function_Barten1999(CYCLES_DEG)
    np.testing.assert_allclose(sensitivity(CYCLES_DEG, eye), theirs, rtol=1e-6)
