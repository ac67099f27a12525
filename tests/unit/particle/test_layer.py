"""Layers from widths and rims that are written down here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from motemap.coords import FramePoint
from motemap.optics.waves import shadows
from motemap.particle.layer import judge_layers
from motemap.particle.shot_optics import ShotOptics
from motemap.records import MeasuredSpot, MeasuredSpots, Stack

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
FITS = 0.3
"""Misfit of a shadow that is as a speck on the stack throws it."""
UNMEASURED = float("nan")


def optics(stack: Stack = MEASURED, f_number: float = 22.0) -> ShotOptics:
    seen = ShotOptics.of(stack, f_number, PITCH_UM)
    assert seen is not None
    return seen


def judge(
    spot: MeasuredSpot, particle_um: float, misfit: float, seen: ShotOptics
) -> tuple[str, str]:
    """Return layer and reason of a single mark."""
    judged = judge_layers(
        MeasuredSpots.of([spot]), np.array([particle_um]), np.array([misfit]), seen
    )
    return judged.layer[0], judged.reason[0]


def test_a_shadow_of_the_right_width_lies_on_the_stack() -> None:
    assert judge(ON_STACK, 20.0, FITS, optics())[0] == "filter stack"
    assert judge(ON_STACK, 20.0, UNMEASURED, optics(ASSUMED))[0] == "filter stack"


def test_a_wide_soft_round_shadow_lies_on_the_lens() -> None:
    layer, reason = judge(FAR, 140.0, UNMEASURED, optics())
    assert layer == "lens side"
    # 250 px of 4 um at f/22: 22 mm.
    assert "22 mm from the sensor" in reason


@pytest.mark.parametrize(
    "spot", [replace(FAR, edge_px=12.0), replace(FAR, length_px=700.0)], ids=["hard", "long"]
)
def test_a_wide_mark_with_a_hard_rim_or_a_long_shape_is_left_open(spot: MeasuredSpot) -> None:
    assert judge(spot, 140.0, UNMEASURED, optics())[0] == "unsure"


def test_a_large_flake_is_not_dust_on_the_lens() -> None:
    flake = replace(ON_STACK, depth_frac=0.95, width_px=75.0, length_px=80.0, edge_px=30.0)
    assert judge(flake, 295.0, UNMEASURED, optics())[0] == "filter stack"


def test_a_broad_speck_on_the_lens_is_told_by_its_faintness() -> None:
    broad = replace(FAR, depth_frac=0.25, width_px=136.0, length_px=139.0, edge_px=30.0)
    assert judge(broad, 270.0, UNMEASURED, optics(f_number=29.0))[0] == "lens side"
    deep = replace(broad, depth_frac=0.7)
    assert judge(deep, 270.0, UNMEASURED, optics(f_number=29.0))[0] != "lens side"


def test_a_sharp_shadow_that_no_stack_speck_fits_lies_inside() -> None:
    sharp = replace(ON_STACK, width_px=5.0, length_px=5.2, depth_frac=0.8)
    misfit = 60.0
    assert judge(sharp, 20.0, misfit, optics())[0] == "inside"
    # A width alone may be wrong: the whole shadow has to speak against the stack.
    assert judge(sharp, 20.0, FITS, optics())[0] != "inside"
    assert judge(sharp, 20.0, misfit, optics(ASSUMED))[0] != "inside"
    faint = replace(sharp, snr=15.0)
    assert judge(faint, 20.0, misfit, optics())[0] != "inside"


def test_a_large_particle_tells_nothing_of_being_inside() -> None:
    flake = replace(ON_STACK, width_px=18.0, length_px=26.0, depth_frac=0.99)
    misfit = 30.0
    assert judge(flake, 140.0, misfit, optics())[0] != "inside"


def test_without_a_fit_only_a_third_of_the_width_is_inside() -> None:
    needle = replace(ON_STACK, width_px=2.2, length_px=2.4, depth_frac=0.8)
    assert judge(needle, 12.0, UNMEASURED, optics())[0] == "inside"
    defect = replace(needle, width_px=1.2, length_px=1.3)
    assert judge(defect, 12.0, UNMEASURED, optics())[0] == "unsure"


def test_a_mark_that_takes_no_light_still_has_a_layer() -> None:
    assert judge(ON_STACK, 0.0, UNMEASURED, optics())[0] == "filter stack"


def test_many_marks_are_judged_each_by_itself() -> None:
    marks = [FAR, ON_STACK, replace(FAR, edge_px=12.0), replace(FAR, width_px=260.0)]
    sizes_um = np.array([140.0, 20.0, 140.0, 140.0])
    judged = judge_layers(MeasuredSpots.of(marks), sizes_um, np.full(4, np.nan), optics())
    assert judged.layer.tolist() == ["lens side", "filter stack", "unsure", "lens side"]
    # 250 and 260 px of 4 um at f/22.
    assert ["22 mm" in judged.reason[0], "23 mm" in judged.reason[3]] == [True, True]


def test_the_optics_of_a_shot_need_all_their_parts() -> None:
    assert ShotOptics.of(MEASURED, None, PITCH_UM) is None
    assert ShotOptics.of(MEASURED, 22.0, None) is None
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assert ShotOptics.of(unknown, 22.0, PITCH_UM) is None
    assert optics().tau_um == pytest.approx(1300.0)


def test_a_wide_soft_mark_deeper_than_dust_on_a_lens_can_throw_is_left_open() -> None:
    # A particle with a flank of 40 px, of 4 um each, is 0.2 mm large: 4 % of a disc of 1 mm, and
    # 17 % at most where its outline is irregular.
    deep = replace(FAR, depth_frac=0.35)
    assert judge(deep, 590.0, UNMEASURED, optics())[0] == "unsure"
    assert judge(replace(deep, edge_px=80.0), 590.0, UNMEASURED, optics())[0] == "lens side"


def test_a_shadow_that_is_narrow_only_across_the_edge_is_not_sharp() -> None:
    across = replace(ON_STACK, width_px=0.4 * ON_STACK.width_px)
    at_border = replace(across, is_at_border=True)
    assert judge(across, 18.0, 30.0, optics())[0] == "inside"
    assert judge(at_border, 18.0, 30.0, optics())[0] == "filter stack"
    narrow = replace(at_border, length_px=at_border.width_px)
    assert judge(narrow, 18.0, 30.0, optics())[0] == "inside"


def test_a_long_grain_is_no_mark_inside_for_being_narrow_across() -> None:
    # As wide, between both ways, as a round one; narrower than 0.8 of that across.
    across_px, along_px = (share * WIDTH_UM / PITCH_UM for share in (0.65, 1.6))
    grain = replace(ON_STACK, width_px=across_px, length_px=along_px)
    assert judge(grain, 20.0, 30.0, optics())[0] == "filter stack"
    assert judge(replace(grain, length_px=across_px), 20.0, 30.0, optics())[0] == "inside"
