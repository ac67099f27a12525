"""What the eye sees: Barten's function at hand, and how it is applied to spots."""

import numpy as np
import pytest

from motemap.errors import SettingsError
from motemap.optics.vision import (
    Eye,
    Viewing,
    eye_blur_deg,
    eye_transfer,
    integration_deg,
    pupil_mm,
    retinal_troland,
    sensitivity,
    spot_threshold,
    visible_depth,
)

SCREEN = Viewing.parse("screen")
PRINT = Viewing.parse("print 60x40cm at 80cm")
PICTURE_PX = 6000.0


def test_parts_of_the_contrast_sensitivity_function() -> None:
    # Values the tests of a colour-science library hold, computed anew: see tests/external.
    assert float(eye_transfer(4, 0.01)) == pytest.approx(0.968910791, rel=1e-9)
    assert pupil_mm(100, 60) == pytest.approx(2.7931307, rel=1e-7)
    assert eye_blur_deg(2.1) == pytest.approx(0.0087911572, rel=1e-8)
    assert retinal_troland(20, 2.1) == pytest.approx(66.0823160605, rel=1e-9)
    assert float(integration_deg(4)) == pytest.approx(3.5729480051, rel=1e-9)


def test_thresholds_in_daylight() -> None:
    # Threshold modulation at 100 cd/m2, in per cent, computed apart from this package with a
    # narrower pupil (2.0 instead of 2.8 mm), hence the tolerance.
    found = 100 / sensitivity([2.0, 8.0, 16.0, 30.0], Eye.adapted(100.0))
    np.testing.assert_allclose(found, [0.15, 0.28, 0.72, 3.6], rtol=0.16)


@pytest.mark.parametrize(("width_px", "area_mm2"), [(10.0, 4.91), (15.0, 11.04), (30.0, 44.2)])
def test_agrees_roughly_with_a_display_blemish_rule(width_px: float, area_mm2: float) -> None:
    # SEMI D31-1102, formula from memory: C = 1.97 / S^0.33 + 0.72 per cent.
    rule = (1.97 / area_mm2**0.33 + 0.72) / 100
    # Two models of one eye: half as much again either way.
    assert visible_depth(width_px, PICTURE_PX, SCREEN) == pytest.approx(rule, rel=0.5)


def test_larger_spots_are_easier_to_see() -> None:
    depths = [visible_depth(width, PICTURE_PX, SCREEN) for width in (2, 4, 8, 16, 32, 64, 128)]
    assert np.all(np.diff(depths) < 0)


def test_unresolved_spots_obey_riccos_law() -> None:
    # Below the eye's resolution threshold times area is constant.
    small, half = (visible_depth(width, 60000.0, PRINT) for width in (4.0, 8.0))
    assert small == pytest.approx(min(1.0, 4 * half), rel=0.02)


def test_a_farther_or_smaller_print_hides_spots() -> None:
    near = visible_depth(10, PICTURE_PX, Viewing.parse("print 60 x 40 cm at 40 cm"))
    assert near < visible_depth(10, PICTURE_PX, PRINT)
    assert visible_depth(10, PICTURE_PX, PRINT) < visible_depth(10, 2 * PICTURE_PX, PRINT)


def test_an_invisible_spot_has_threshold_one() -> None:
    assert visible_depth(0.001, PICTURE_PX, PRINT) == 1.0


def test_threshold_falls_with_light() -> None:
    assert spot_threshold(0.1, Eye.adapted(100.0)) < spot_threshold(0.1, Eye.adapted(1.0))


def test_screen_shows_a_pixel_on_a_dot() -> None:
    # 15 px of 0.25 mm at 600 mm: 0.358 degrees, however many pixels the picture has.
    assert SCREEN.spot_deg(15, PICTURE_PX) == pytest.approx(0.358, abs=0.001)
    assert SCREEN.spot_deg(15, 2 * PICTURE_PX) == SCREEN.spot_deg(15, PICTURE_PX)


def test_print_is_named_as_given() -> None:
    assert PRINT.name == "print 60 x 40 cm at 80 cm"
    assert PRINT.print_width_mm == 600.0
    assert PRINT.distance_mm == 800.0
    assert Viewing.parse("Print 40x60cm at 80cm").print_width_mm == 600.0
    assert Viewing.parse(PRINT.name) == PRINT
    assert Viewing.parse(SCREEN.name) == SCREEN


@pytest.mark.parametrize("text", ["", "wall", "print 60x40", "print 0x40cm at 80cm"])
def test_unknown_viewings_are_refused(text: str) -> None:
    with pytest.raises(SettingsError, match="is not a way of looking") as caught:
        Viewing.parse(text)
    assert "60x40cm" in caught.value.repair
