"""Layers from widths and rims that are written down here."""

from __future__ import annotations

from dataclasses import replace

import pytest

from motemap.coords import FramePoint
from motemap.optics.waves import shadows
from motemap.particle.layer import judge_layer
from motemap.particle.record import LostLight
from motemap.particle.view import View
from motemap.records import MeasuredSpot, Stack

PITCH_UM = 4.0
MEASURED = Stack(distance_mm=1.3, uncertainty_mm=0.04, source="measured")
ASSUMED = Stack(distance_mm=1.3, uncertainty_mm=0.52, source="assumed")
WIDTH_UM = shadows(1300.0, 22.0, PITCH_UM).half_width_um(20.0)
ON_STACK = MeasuredSpot(
    centre=FramePoint(row_px=50.0, col_px=70.0),
    depth_frac=0.2,
    snr=150.0,
    width_px=WIDTH_UM / PITCH_UM,
    length_px=WIDTH_UM / PITCH_UM,
    lost_area_px2=19.6,
    edge_px=9.0,
)
FAR = replace(ON_STACK, depth_frac=0.02, width_px=250.0, length_px=260.0, edge_px=40.0)
FITS = LostLight(area_um2=314.0, error_frac=0.05, opacity_frac=1.0, depth_frac=0.2, misfit=0.3)


def view(stack: Stack = MEASURED, f_number: float = 22.0) -> View:
    seen = View.of(stack, f_number, PITCH_UM)
    assert seen is not None
    return seen


def test_a_shadow_of_the_right_width_lies_on_the_stack() -> None:
    assert judge_layer(ON_STACK, 20.0, FITS, view()).layer == "filter stack"
    assert judge_layer(ON_STACK, 20.0, None, view(ASSUMED)).layer == "filter stack"


def test_a_wide_soft_round_shadow_lies_on_the_lens() -> None:
    judged = judge_layer(FAR, 140.0, None, view())
    assert judged.layer == "lens side"
    # 250 px of 4 um at f/22: 22 mm.
    assert "22 mm from the sensor" in judged.reason


@pytest.mark.parametrize(
    "spot", [replace(FAR, edge_px=12.0), replace(FAR, length_px=700.0)], ids=["hard", "long"]
)
def test_a_wide_mark_with_a_hard_rim_or_a_long_shape_is_left_open(spot: MeasuredSpot) -> None:
    assert judge_layer(spot, 140.0, None, view()).layer == "unsure"


def test_a_large_flake_is_not_dust_on_the_lens() -> None:
    flake = replace(ON_STACK, depth_frac=0.95, width_px=75.0, length_px=80.0, edge_px=30.0)
    assert judge_layer(flake, 295.0, None, view()).layer == "filter stack"


def test_a_broad_speck_on_the_lens_is_told_by_its_faintness() -> None:
    broad = replace(FAR, depth_frac=0.25, width_px=136.0, length_px=139.0, edge_px=30.0)
    assert judge_layer(broad, 270.0, None, view(f_number=29.0)).layer == "lens side"
    deep = replace(broad, depth_frac=0.7)
    assert judge_layer(deep, 270.0, None, view(f_number=29.0)).layer != "lens side"


def test_a_sharp_shadow_that_no_stack_speck_fits_lies_inside() -> None:
    sharp = replace(ON_STACK, width_px=5.0, length_px=5.2, depth_frac=0.8)
    misfit = replace(FITS, misfit=60.0)
    assert judge_layer(sharp, 20.0, misfit, view()).layer == "inside"
    # A width alone may be wrong: the whole shadow has to speak against the stack.
    assert judge_layer(sharp, 20.0, FITS, view()).layer != "inside"
    assert judge_layer(sharp, 20.0, misfit, view(ASSUMED)).layer != "inside"
    faint = replace(sharp, snr=15.0)
    assert judge_layer(faint, 20.0, misfit, view()).layer != "inside"


def test_a_large_particle_tells_nothing_of_being_inside() -> None:
    flake = replace(ON_STACK, width_px=18.0, length_px=26.0, depth_frac=0.99)
    misfit = replace(FITS, misfit=30.0)
    assert judge_layer(flake, 140.0, misfit, view()).layer != "inside"


def test_without_a_fit_only_a_third_of_the_width_is_inside() -> None:
    needle = replace(ON_STACK, width_px=2.2, length_px=2.4, depth_frac=0.8)
    assert judge_layer(needle, 12.0, None, view()).layer == "inside"
    defect = replace(needle, width_px=1.2, length_px=1.3)
    assert judge_layer(defect, 12.0, None, view()).layer == "unsure"


def test_a_mark_that_takes_no_light_still_has_a_layer() -> None:
    assert judge_layer(ON_STACK, 0.0, None, view()).layer == "filter stack"


def test_view_needs_all_its_parts() -> None:
    assert View.of(MEASURED, None, PITCH_UM) is None
    assert View.of(MEASURED, 22.0, None) is None
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert View.of(unknown, 22.0, PITCH_UM) is None
    assert view().blur_um == pytest.approx(1300 / 22)
