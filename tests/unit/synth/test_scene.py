"""The blank field has the unevenness that was asked for."""

import numpy as np
import pytest

from motemap.errors import SettingsError
from motemap.synth.scene import SceneSpec, draw_scene

HEIGHT_PX, WIDTH_PX = 301, 449
EVEN = {"vignetting_frac": 0.0, "tilt_frac": 0.0, "exposure_frac": 0.5}


def draw(**strengths: float) -> np.ndarray:
    return draw_scene(
        SceneSpec(**(EVEN | strengths)), HEIGHT_PX, WIDTH_PX, np.random.default_rng(4)
    )


def test_even_field_is_even() -> None:
    assert draw() == pytest.approx(0.5)


@pytest.mark.parametrize("vignetting_power", [0.0, 2.0, 5.0])
def test_corner_loses_the_vignetting(vignetting_power: float) -> None:
    light = draw(vignetting_frac=0.6, vignetting_power=vignetting_power)
    assert light[150, 224] == pytest.approx(0.5, rel=0.001)
    # the corner pixel's centre lies 0.5 px inside the corner
    assert light[0, 0] == pytest.approx(0.2, rel=0.02)


def test_cos4_fall_is_that_of_the_pupil_distance() -> None:
    # derived: at 21.6 mm from the middle, pupil 50 mm off, cos^4 leaves 0.710
    light = draw(vignetting_frac=1 - 0.710)
    halfway = light[150, 224 + 135] / light[150, 224]  # half of the half diagonal of 270 px
    assert halfway == pytest.approx(1 / (1 + (10.8 / 50) ** 2) ** 2, abs=0.002)


def test_tilt_goes_from_end_to_end() -> None:
    light = draw(tilt_frac=0.25, tilt_deg=0.0)
    assert (light[9, 0] - light[9, -1]) / 0.5 == pytest.approx(0.25, rel=0.01)


@pytest.mark.parametrize("name", ["mottle_frac", "screen_frac"])
def test_texture_has_its_deviation(name: str) -> None:
    light = draw(**{name: 0.004}, mottle_px=60.0)
    # a few patches and a lattice cut by the edge: 10 %
    assert light.std() / light.mean() == pytest.approx(0.004, rel=0.1)


def test_row_banding_is_the_same_along_each_row() -> None:
    light = draw(row_banding_frac=0.004)
    assert light.std(axis=1).max() < 1e-5
    assert light[:, 0].std() / 0.5 == pytest.approx(0.004, rel=0.01)


def test_column_banding_is_the_same_along_each_column() -> None:
    light = draw(col_banding_frac=0.004)
    assert light.std(axis=0).max() < 1e-5
    assert light[0].std() / 0.5 == pytest.approx(0.004, rel=0.01)


def test_hand_darkens_one_corner_only() -> None:
    light = draw(hand_frac=0.3)
    corners = sorted(light[row, col] / 0.5 for row in (0, -1) for col in (0, -1))
    assert corners[0] == pytest.approx(0.7, abs=0.01)
    assert corners[3] == pytest.approx(1.0)
    assert light[150, 224] == pytest.approx(0.5)


def test_image_circle_ends_in_darkness() -> None:
    light = draw(circle_frac=0.8)
    assert light[0, 0] < 0.01
    assert light[150, 224] == pytest.approx(0.5)


def test_mechanical_corners_are_dark() -> None:
    light = draw(corner_frac=0.7)
    assert light[0, 0] == pytest.approx(0.15, rel=0.01)
    assert light[0, 224] == pytest.approx(0.5)


def test_edge_falls_by_half() -> None:
    light = draw(edge_fall_frac=0.5, edge_fall_px=20.0)
    assert light[150, 0] == pytest.approx(0.25, rel=0.01)
    assert light[150, 20] == pytest.approx(0.375, rel=0.01)
    assert light[150, 224] == pytest.approx(0.5, rel=0.001)


def test_same_seed_same_field() -> None:
    again = draw(mottle_frac=0.01, hand_frac=0.2, screen_frac=0.003)
    assert np.array_equal(again, draw(mottle_frac=0.01, hand_frac=0.2, screen_frac=0.003))


def test_one_texture_does_not_change_another() -> None:
    both = draw(mottle_frac=0.01, row_banding_frac=0.01)
    banded = draw(row_banding_frac=0.01)
    mottled = draw(mottle_frac=0.01)
    assert both == pytest.approx(mottled * banded / 0.5, rel=1e-5)


def test_refuses_a_share_above_one() -> None:
    with pytest.raises(SettingsError, match="tilt_frac"):
        SceneSpec(tilt_frac=1.2)
