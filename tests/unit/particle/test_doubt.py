"""How far sizes are in doubt."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import pytest

from motemap.particle import Doubt, doubted, is_cooked
from motemap.records import ImageInfo, MeasuredSpots, Sensor, Stack
from sized import SPOT, size_one

if TYPE_CHECKING:
    from motemap.particle import Particles
    from motemap.records import MeasuredSpot

RAW = ImageInfo(
    kind="raw", width_px=6000, height_px=4000, exif_orientation=1, bits=14, mosaic="2x2"
)
JPEG = replace(RAW, kind="jpeg", bits=8, mosaic="none", curve="srgb")
GREY, WHITE = 0.4, 0.95
SURE = Stack(distance_mm=1.3, uncertainty_mm=0.0, source="measured")
ASSUMED = Stack(distance_mm=1.3, uncertainty_mm=0.52, source="assumed")


def sensor(source: Literal["given", "metadata", "assumed"] = "metadata") -> Sensor:
    return Sensor(format=None, width_mm=36.0, height_mm=24.0, pitch_um=6.0, source=source)


def widened(spot: MeasuredSpot, doubt: Doubt) -> tuple[Particles, Particles]:
    before = size_one(spot)
    return before, doubted(before, ~MeasuredSpots.of([spot]).are_long(), doubt)


def added(spot: MeasuredSpot, doubt: Doubt) -> float:
    """Return what a range gets in standard errors of the logarithm."""
    before, after = widened(spot, doubt)
    told, now = (float(np.log(one.most_um / one.least_um)[0]) for one in (before, after))
    return float(np.sqrt(now**2 - told**2)) / (2 * 1.645)


def test_a_raw_file_of_a_known_sensor_leaves_no_doubt() -> None:
    assert not is_cooked(RAW)
    doubt = Doubt.of(RAW, sensor(), SURE, GREY)
    before, after = widened(SPOT, doubt)
    assert after is before


@pytest.mark.parametrize("curve", ["srgb", "profile"])
def test_only_the_range_of_a_picture_widens(curve: Literal["srgb", "profile"]) -> None:
    image = replace(JPEG, curve=curve)
    assert is_cooked(image)
    before, after = widened(SPOT, Doubt.of(image, sensor(), SURE, GREY))
    assert after.least_um[0] < before.least_um[0]
    assert after.most_um[0] > before.most_um[0]
    restored = replace(after, least_um=before.least_um, most_um=before.most_um)
    for field in fields(before):
        assert getattr(restored, field.name) is getattr(before, field.name)


def test_light_that_is_wrong_by_a_share_makes_diameters_wrong_by_half_of_it() -> None:
    faint = replace(SPOT, depth_frac=1e-6)
    assert added(faint, Doubt(light_frac=0.2)) == pytest.approx(0.1, rel=1e-3)
    assert added(faint, Doubt(scale=0.3)) == pytest.approx(0.3, rel=1e-3)


def test_the_width_of_a_fibre_is_as_wrong_as_its_light() -> None:
    fibre = replace(SPOT, length_px=120.0, depth_frac=1e-6)
    assert added(fibre, Doubt(light_frac=0.2)) == pytest.approx(0.2, rel=1e-3)


def test_what_is_half_black_is_less_in_doubt() -> None:
    # Of light 1 - d a curve of slope g makes (1 - d)^g: at d = 1/2 ln 2 of the error is left.
    half = replace(SPOT, depth_frac=0.5)
    before, after = widened(half, Doubt(light_frac=0.2))
    assert before.depth_frac == pytest.approx(0.5)
    told, now = (np.log(one.most_um / one.least_um) / (2 * 1.645) for one in (before, after))
    assert np.sqrt(now**2 - told**2) == pytest.approx(0.1 * np.log(2), rel=1e-6)


def test_curves_are_less_sure_near_white() -> None:
    grey, white = (Doubt.of(JPEG, sensor(), SURE, level).light_frac for level in (GREY, WHITE))
    assert white > 1.5 * grey > 0.0


@pytest.mark.parametrize("image", [RAW, JPEG])
def test_a_sensor_that_is_assumed_may_be_of_the_next_size(image: ImageInfo) -> None:
    before, after = widened(SPOT, Doubt.of(image, sensor("assumed"), SURE, GREY))
    # 36 mm was assumed, 22.3 mm may be true.
    assert after.least_um[0] < before.particle_um[0] * 22.3 / 36 < before.least_um[0]


def test_sizes_are_as_unsure_as_the_root_of_a_distance_that_is_assumed() -> None:
    doubt = Doubt.of(RAW, sensor(), ASSUMED, GREY)
    assert doubt.light_frac == 0.0
    assert doubt.scale == pytest.approx(0.4 / 2)
    before, after = widened(SPOT, doubt)
    # Nine in ten: with 0.78 and 1.82 mm, a standard error away, sizes of drawn specks are a
    # quarter smaller and a sixth larger.
    assert after.least_um[0] < 0.75 * before.particle_um[0] < before.least_um[0]
    assert after.most_um[0] > 1.17 * before.particle_um[0]


def test_a_distance_that_is_unknown_adds_nothing() -> None:
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert Doubt.of(RAW, sensor(), unknown, GREY) == Doubt()


def test_without_a_size_there_is_no_range() -> None:
    clear = replace(SPOT, gain_ratio=0.9)
    _, after = widened(clear, Doubt(light_frac=0.2, scale=0.3))
    assert np.isnan(after.least_um).all()
    assert np.isnan(after.most_um).all()
