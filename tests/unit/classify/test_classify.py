"""What a dip is taken for. The numbers lie well off each bound, so that tuning is free to move."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from motemap.classify import ShadowScale, judge_origins, name_kinds
from motemap.classify.genuine import sharp_flanks
from motemap.coords import FramePoint
from motemap.records import MeasuredSpot, MeasuredSpots, Stack

# f/22, 5 um: a stack of 1.1 mm blurs by 1100 / 22 / 5 = 10 px.
MEASURED = Stack(distance_mm=1.1, uncertainty_mm=0.05, source="measured")
SCALE = ShadowScale.from_optics(MEASURED, 22.0, 5.0)


TINY = {"width_px": 2.7, "length_px": 3.0, "significance": 170.0}


def spot(**changes: Any) -> MeasuredSpot:
    """Return a clear speck in the middle, 9 px wide, of 10 % depth."""
    plain = {
        "centre": FramePoint(row_px=400.0, col_px=700.0),
        "depth_frac": 0.1,
        "snr": 80.0,
        "width_px": 9.0,
        "length_px": 9.5,
        "lost_area_px2": 8.0,
        "gain_ratio": 0.1,
        "hollow_frac": 1.0,
        "edge_px": 6.0,
        "significance": 30.0,
    }
    return MeasuredSpot(**{**plain, **changes})


def origin_of(mark: MeasuredSpot, scale: ShadowScale, floor_frac: float) -> str:
    """Judge one mark, beside another that is clear."""
    spots = MeasuredSpots.of([mark, spot()])
    origins = judge_origins(spots, scale, np.array([floor_frac, 0.0]), np.zeros(2, np.bool_))
    assert bool(origins.is_mark[1])
    names = ("mark", "soft", "artefact")
    flags = (origins.is_mark, origins.is_soft, origins.artefact != "")
    (origin,) = (name for name, flag in zip(names, flags, strict=True) if flag[0])
    return origin


def test_what_coding_may_have_made_of_noise_is_an_artefact() -> None:
    spots = MeasuredSpots.of([spot(), spot()])
    origins = judge_origins(spots, SCALE, np.zeros(2), np.array([True, False]))
    assert origins.is_mark.tolist() == [False, True]
    assert origins.artefact.tolist() == ["as few waves as compression makes of noise", ""]


def test_bounds_of_the_blur_lie_about_a_measured_stack() -> None:
    assert SCALE.blur_low_px < 10 < SCALE.blur_high_px
    assert SCALE.blur_high_px / SCALE.blur_low_px < 1.6


@pytest.mark.parametrize(
    "stack", [None, Stack(distance_mm=1.1, uncertainty_mm=0.5, source="assumed")]
)
def test_a_stack_that_was_not_measured_leaves_the_bounds_wide(stack: Stack | None) -> None:
    scale = ShadowScale.from_optics(stack, 22.0, 5.0)
    # 0.5 mm cover glasses to 2.9 mm of older bodies must both fit.
    assert scale.blur_low_px <= 500 / 22 / 5
    assert scale.blur_high_px >= 2900 / 22 / 5


def test_a_vague_measurement_widens_the_bounds() -> None:
    vague = Stack(distance_mm=1.1, uncertainty_mm=0.6, source="measured")
    scale = ShadowScale.from_optics(vague, 22.0, 5.0)
    assert scale.blur_low_px == pytest.approx(0.5 * 1000 / 22 / 5)
    assert scale.blur_high_px == pytest.approx(1.7 * 1000 / 22 / 5)


def test_what_is_unknown_only_widens_the_bounds() -> None:
    unknown = ShadowScale.from_optics(MEASURED, None, None)
    assert unknown.blur_low_px < SCALE.blur_low_px
    assert unknown.blur_high_px > SCALE.blur_high_px
    assert unknown.pitch_um is None


@pytest.mark.parametrize(
    ("changes", "floor_frac", "origin"),
    [
        ({}, 0.0, "mark"),
        ({"width_px": 2.0, "length_px": 2.0}, 0.0, "artefact"),  # a fifth of the blur: a defect
        ({"edge_px": 50.0, "width_px": 90.0, "length_px": 95.0, "depth_frac": 0.02}, 0.0, "soft"),
        ({"edge_px": 30.0, "width_px": 60.0, "length_px": 60.0, "depth_frac": 0.7}, 0.0, "mark"),
        ({"depth_frac": 0.004, "length_px": 60.0, "significance": 7.0}, 0.006, "artefact"),
        ({"depth_frac": 0.1}, 0.006, "mark"),  # far deeper than codes can feign
        (
            {"depth_frac": 0.006, "length_px": 60.0, "snr": 9.0, "significance": 6.5},
            0.0,
            "artefact",
        ),
        ({"depth_frac": 0.2, "length_px": 90.0}, 0.0, "mark"),  # a fibre
        # A slope along the border, and a fibre there.
        (
            {"depth_frac": 0.04, "length_px": 170.0, "is_at_border": True, "significance": 6.6},
            0.0,
            "artefact",
        ),
        ({"depth_frac": 0.04, "length_px": 170.0, "is_at_border": True}, 0.0, "mark"),
        # What the border leaves of a speck, and a column of photosites that fails from a row on.
        ({"width_px": 1.5, "length_px": 9.0, "is_at_border": True}, 0.0, "mark"),
        ({"width_px": 1.5, "length_px": 300.0, "is_at_border": True}, 0.0, "artefact"),
        # Dirt beneath the glass, and what a few defects in a row leave.
        ({**TINY, "depth_frac": 0.7}, 0.0, "mark"),
        ({**TINY, "depth_frac": 0.15}, 0.0, "artefact"),
    ],
)
def test_origin(changes: dict[str, Any], floor_frac: float, origin: str) -> None:
    assert origin_of(spot(**changes), SCALE, floor_frac) == origin


def named(
    mark: MeasuredSpot,
    *,
    depth_frac: float | None = None,
    expected_px: float = math.nan,
    is_cut: bool = False,
) -> tuple[str, str]:
    """Return kind and reason of a single mark."""
    depth = mark.depth_frac if depth_frac is None else depth_frac
    kinds = name_kinds(
        MeasuredSpots.of([mark]),
        SCALE,
        np.array([depth]),
        np.array([expected_px]),
        np.array([is_cut]),
    )
    return kinds.kind[0], kinds.reason[0]


@pytest.mark.parametrize(
    ("changes", "kind", "said"),
    [
        ({}, "speck", "compact"),
        ({"length_px": 90.0}, "fibre", "10.0 times as long as wide"),
        ({"gain_ratio": 0.9}, "droplet", "90 %"),
        ({"width_px": 30.0, "length_px": 32.0, "hollow_frac": 0.1}, "droplet", "ring"),
        ({"width_px": 40.0, "length_px": 150.0, "depth_frac": 0.08}, "smear", "see-through"),
        ({"width_px": 40.0, "length_px": 44.0, "depth_frac": 0.08}, "droplet", "see-through"),
        ({"width_px": 40.0, "length_px": 44.0, "depth_frac": 0.9}, "speck", "dark"),
        ({"snr": 6.2}, "unsure", "too faint"),
        ({"length_px": 20.0, "is_at_border": True}, "unsure", "cut off"),
    ],
)
def test_kind(changes: dict[str, Any], kind: str, said: str) -> None:
    assert named(spot(**changes))[0] == kind
    assert said in named(spot(**changes))[1]


def test_a_better_known_depth_decides_whether_light_comes_through() -> None:
    wide = spot(width_px=40.0, length_px=44.0, depth_frac=0.08)
    assert named(wide, depth_frac=0.9)[0] == "speck"


def test_a_mark_much_wider_than_its_light_lets_light_through() -> None:
    # 9 px wide where an opaque speck of its light would be 6 px.
    clear = spot(length_px=10.0)
    assert named(clear, expected_px=6.0)[0] == "droplet"
    assert "1.5 times as wide" in named(clear, expected_px=6.0)[1]
    assert named(clear, expected_px=7.5)[0] == "speck"
    assert named(clear, expected_px=6.0, depth_frac=0.9)[0] == "speck"


def test_a_mark_without_its_middle_is_no_fibre() -> None:
    strip = spot(length_px=40.0, is_at_border=True)
    assert named(strip)[0] == "fibre"
    assert named(strip, is_cut=True) == ("unsure", "cut off by the edge of the picture")


def test_many_marks_are_named_each_by_itself() -> None:
    marks = [spot(), spot(length_px=90.0), spot(gain_ratio=0.9), spot(length_px=45.0)]
    kinds = name_kinds(
        MeasuredSpots.of(marks),
        SCALE,
        np.full(4, 0.1),
        np.full(4, np.nan),
        np.zeros(4, np.bool_),
    )
    assert kinds.kind.tolist() == ["speck", "fibre", "droplet", "fibre"]
    assert kinds.reason.tolist() == [named(mark)[1] for mark in marks]


def test_smoothing_is_taken_out_of_a_flank() -> None:
    # A bell of sigma 3 px seen under a blur of 4 px has sigma 5, and its flank is sqrt(e) times it.
    seen = spot(edge_px=5 * math.sqrt(math.e), blur_sigma_px=4.0)
    assert sharp_flanks(MeasuredSpots.of([seen]), SCALE) == pytest.approx(3 * math.sqrt(math.e))


def test_only_so_much_smoothing_is_taken_out_as_a_shadow_is_seen_under() -> None:
    # A faint wide shadow looked at under 19 px: its flank stays softer than that of any dust.
    wide = spot(edge_px=18.0, blur_sigma_px=19.0, width_px=26.0, length_px=45.0, depth_frac=0.009)
    assert origin_of(wide, SCALE, 0.0) == "soft"


@pytest.mark.parametrize(
    ("changes", "origin"),
    [
        # Noise draws out a speck's outline, but not its area nor beyond two blur discs.
        ({"width_px": 4.2, "length_px": 13.0}, "mark"),
        ({"width_px": 4.2, "length_px": 30.0}, "artefact"),
        ({"width_px": 1.0, "length_px": 13.0}, "artefact"),
    ],
)
def test_a_frayed_outline_is_no_line(changes: dict[str, Any], origin: str) -> None:
    faint = {"depth_frac": 0.01, "snr": 12.0, "significance": 9.5, "edge_px": 5.0}
    assert origin_of(spot(**faint, **changes), SCALE, 0.0) == origin


@pytest.mark.parametrize(
    ("changes", "floor_frac", "origin"),
    [
        ({}, 0.0, "mark"),
        ({}, 0.002, "artefact"),
        ({"is_at_border": True}, 0.0, "artefact"),
        ({"edge_px": 25.0}, 0.0, "artefact"),
    ],
)
def test_a_faint_mark_needs_a_flank(
    changes: dict[str, Any], floor_frac: float, origin: str
) -> None:
    # 10 px of flank on 6 px of width: noise does that to a shadow, coarse codes and slopes along
    # a border do it to nothing at all.
    faint = {"depth_frac": 0.01, "width_px": 6.0, "length_px": 7.0, "significance": 8.0}
    mark = spot(**{**faint, "edge_px": 10.0, **changes})
    assert origin_of(mark, SCALE, floor_frac) == origin


@pytest.mark.parametrize(("floor_frac", "origin"), [(0.0, "mark"), (0.002, "artefact")])
def test_a_smeared_defect_in_a_coded_picture_is_wider(floor_frac: float, origin: str) -> None:
    unknown = ShadowScale.from_optics(None, 22.0, 6.0)
    faint = {"depth_frac": 0.02, "width_px": 3.6, "length_px": 4.0, "significance": 7.0}
    mark = spot(**faint, edge_px=3.0)
    assert origin_of(mark, unknown, floor_frac) == origin


@pytest.mark.parametrize(
    ("changes", "origin"),
    [
        ({}, "mark"),
        ({"length_px": 30.0, "width_px": 25.0}, "soft"),
        ({"is_at_border": True, "edge_px": 13.5}, "soft"),
        ({"significance": 20.0}, "soft"),
    ],
)
def test_what_is_as_small_as_a_shadow_is_no_far_one(changes: dict[str, Any], origin: str) -> None:
    # 14 px of flank where the blur disc is 10: softer than dust throws, yet no larger than it.
    faint = {"depth_frac": 0.02, "width_px": 10.0, "length_px": 12.0, "significance": 8.0}
    assert origin_of(spot(**{**faint, "edge_px": 14.0, **changes}), SCALE, 0.0) == origin


@pytest.mark.parametrize(("floor_frac", "origin"), [(0.0, "mark"), (0.002, "artefact")])
def test_with_fine_codes_no_faint_speck_is_taken_for_a_defect(
    floor_frac: float, origin: str
) -> None:
    # 4.4 px where the blur disc is 10: noise makes a shadow so narrow, and so does compression a
    # defect, which loading takes out of a raw.
    faint = {"depth_frac": 0.01, "width_px": 4.2, "length_px": 4.6, "significance": 7.5}
    assert origin_of(spot(**faint, edge_px=4.0), SCALE, floor_frac) == origin


def test_how_much_smoothing_is_taken_out_does_not_grow_with_what_is_unknown() -> None:
    # Lens dust in a frame without a stack: the widest blur disc there might be is 29 px.
    unknown = ShadowScale.from_optics(None, 22.0, 5.0)
    wide = {"width_px": 90.0, "length_px": 260.0, "depth_frac": 0.014, "significance": 17.0}
    assert origin_of(spot(**wide, edge_px=34.0, blur_sigma_px=12.0), unknown, 0.0) == "soft"


def test_a_thin_ring_round_a_clear_middle_is_no_defect() -> None:
    # A clear drop throws its light inwards: the dark ring is narrower than any shadow.
    line = {"width_px": 1.7, "length_px": 45.0, "edge_px": 4.0, "significance": 50.0}
    ring = {**line, "hole_frac": 0.4, "hollow_frac": -0.6, "gain_ratio": 0.28}
    assert origin_of(spot(**ring), SCALE, 0.0) == "mark"
    assert named(spot(**ring))[0] == "droplet"
    for other in (line, {**ring, "length_px": 18.0}):
        assert origin_of(spot(**other), SCALE, 0.0) == "artefact"


def test_a_loop_with_loose_ends_is_a_fibre_and_a_round_ring_a_drop() -> None:
    loop = {"width_px": 7.0, "length_px": 120.0, "hole_frac": 0.25, "hoop_frac": 0.5}
    assert named(spot(**loop))[0] == "fibre"
    # Noise frays the outline of a faint ring, which is then longer than it would be.
    for ring in ({**loop, "hoop_frac": 1.0}, {**loop, "snr": 25.0}):
        assert named(spot(**ring)) == (
            "droplet",
            "a ring with a clear middle, as a dried drop leaves",
        )


def test_a_long_film_with_a_core_is_a_mark_however_softly_it_ends() -> None:
    # Softer than the blur disc; uneven light as soft has no core, a disc of lens dust is round.
    film = spot(width_px=45.0, length_px=160.0, edge_px=18.0)
    assert origin_of(film, SCALE, 0.0) == "mark"
    for other in (
        spot(width_px=45.0, length_px=160.0, edge_px=32.0),
        spot(width_px=45.0, length_px=55.0, edge_px=18.0, depth_frac=0.035),
        spot(width_px=45.0, length_px=160.0, edge_px=18.0, depth_frac=0.02),
    ):
        assert origin_of(other, SCALE, 0.0) == "soft"


def test_a_mark_is_called_a_fibre_where_it_is_sized_as_one() -> None:
    # A flake 2.8 times as long as wide is as large as the disc of its light, a fibre has a width.
    flake, fibre = (spot(width_px=10.0, length_px=length_px) for length_px in (28.0, 32.0))
    assert MeasuredSpots.of([flake, fibre]).are_long().tolist() == [False, True]
    assert [named(mark)[0] for mark in (flake, fibre)] == ["speck", "fibre"]


@pytest.mark.parametrize(
    ("depth_frac", "length_px", "edge_px", "origin"),
    [
        (0.022, 900.0, 22.0, "mark"),
        (0.022, 900.0, 45.0, "soft"),
        (0.022, 250.0, 22.0, "soft"),
        (0.052, 900.0, 42.0, "mark"),
        (0.052, 900.0, 60.0, "soft"),
        (0.052, 300.0, 34.0, "soft"),
        (0.008, 900.0, 22.0, "soft"),
    ],
)
def test_a_long_streak_with_a_core_is_a_mark_though_it_is_faint(
    depth_frac: float, length_px: float, edge_px: float, origin: str
) -> None:
    streak = spot(
        depth_frac=depth_frac,
        width_px=60.0,
        length_px=length_px,
        edge_px=edge_px,
        significance=11.0,
        snr=400.0,
    )
    assert origin_of(streak, SCALE, 0.0) == origin
