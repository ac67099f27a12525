"""The distance of the dust, read off drawn frames of known distance."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import flat_frame, noisy
from motemap.coords import FramePoint
from motemap.optics.widths import half_widths_um
from motemap.particle import choose_stack, farthest_mm, fit_stack
from motemap.particle.stack import choose_spots
from motemap.records import MeasuredSpot, MeasuredSpots, Stack
from motemap.synth.masks import DropMask, SpeckMask
from motemap.synth.shapes import random_outline
from specked import PITCH_UM, Laid, find, moved, specks

if TYPE_CHECKING:
    from motemap.optics.waves import Shape

GOAL_FRAC = 0.08
"""The distance is to be right within 8 % from eight isolated specks or more."""
SPOT = MeasuredSpot(
    centre=FramePoint(row_px=20.0, col_px=30.0),
    depth_frac=0.2,
    snr=100.0,
    width_px=10.0,
    length_px=10.0,
    lost_area_px2=20.0,
)


def apart_px(tau_um: float, f_number: float) -> float:
    return (2.2 * tau_um / f_number + 200) / PITCH_UM


@pytest.mark.parametrize(
    ("tau_um", "f_number"),
    [
        (500.0, 11.0),
        (500.0, 22.0),
        (500.0, 32.0),
        (800.0, 16.0),
        (1300.0, 5.6),
        (1300.0, 11.0),
        (1300.0, 22.0),
        (2300.0, 22.0),
        (3000.0, 22.0),
        (3000.0, 32.0),
    ],
)
def test_distance_from_nine_irregular_specks(tau_um: float, f_number: float) -> None:
    laid = specks(9, 1, tau_um=tau_um, sizes_um=(10.0, 80.0), apart_px=apart_px(tau_um, f_number))
    found = find(laid, f_number)
    stack = fit_stack(found.flat, found.spots, f_number=f_number, pitch_um=PITCH_UM)
    assert stack is not None
    assert stack.source == "measured"
    assert stack.distance_mm is not None
    assert stack.distance_mm == pytest.approx(tau_um / 1000, rel=GOAL_FRAC)
    assert stack.uncertainty_mm is not None
    # The stated error may be beaten, but not missed by more than two of it.
    assert abs(stack.distance_mm - tau_um / 1000) < 2 * stack.uncertainty_mm


def films(
    n_films: int, seed: int, sizes_um: tuple[float, float], opacities: tuple[float, float]
) -> list[Laid]:
    """Lay round films of oil, wider than the blur disc, on a loose grid at 1.3 mm."""
    rng = np.random.default_rng(seed)
    laid = specks(n_films, seed, tau_um=1300.0, sizes_um=sizes_um, apart_px=110.0)
    return [
        replace(
            one,
            mask=SpeckMask(
                outline=random_outline(rng, one.size_um, roughness=0.01),
                opacity=float(rng.uniform(*opacities)),
            ),
        )
        for one in laid
    ]


@pytest.mark.parametrize(
    ("sizes_um", "opacities"), [((100.0, 200.0), (0.2, 0.4)), ((70.0, 160.0), (0.06, 0.2))]
)
def test_films_are_not_taken_for_small_grains_far_away(
    sizes_um: tuple[float, float], opacities: tuple[float, float]
) -> None:
    found = find(films(9, 4, sizes_um, opacities), 22.0)
    stack = fit_stack(found.flat, found.spots, f_number=22.0, pitch_um=PITCH_UM)
    assert stack is not None
    assert stack.distance_mm is not None
    assert stack.uncertainty_mm is not None
    assert abs(stack.distance_mm - 1.3) < stack.uncertainty_mm
    # Their rims may be soft themselves: they tell it roughly, however many they are.
    assert stack.uncertainty_mm > 0.15 * stack.distance_mm


def test_a_few_specks_among_films_tell_the_distance() -> None:
    laid = films(9, 5, (120.0, 220.0), (0.15, 0.35))
    laid[::3] = (
        replace(one, mask=SpeckMask(outline=random_outline(np.random.default_rng(7), 28.0)))
        for one in laid[::3]
    )
    found = find(laid, 22.0)
    stack = fit_stack(found.flat, found.spots, f_number=22.0, pitch_um=PITCH_UM)
    assert stack is not None
    assert stack.distance_mm == pytest.approx(1.3, rel=GOAL_FRAC)
    assert stack.uncertainty_mm is not None
    assert stack.uncertainty_mm < 0.08 * 1.3


def test_a_developed_picture_tells_it_less_surely_the_coarser_its_pixels() -> None:
    found = find(specks(9, 1, tau_um=1300.0, sizes_um=(14.0, 45.0), apart_px=70.0), 22.0)
    raw, cooked = (
        fit_stack(found.flat, found.spots, f_number=22.0, pitch_um=PITCH_UM, is_cooked=is_cooked)
        for is_cooked in (False, True)
    )
    assert raw is not None
    assert cooked is not None
    assert cooked.distance_mm == pytest.approx(raw.distance_mm, rel=0.01)
    assert raw.uncertainty_mm is not None
    assert cooked.uncertainty_mm is not None
    # A blur disc of 12 pixels whose rim sharpening moves by a third of one.
    assert raw.uncertainty_mm + 0.005 < cooked.uncertainty_mm < 0.06 * 1.3


def test_dust_elsewhere_and_drops_lose_their_vote() -> None:
    tau_um = 1300.0
    laid = list(specks(14, 3, tau_um=tau_um, sizes_um=(14.0, 60.0), apart_px=70.0))
    laid[9:11] = moved(laid[9:11], 250.0)
    laid[11:13] = moved(laid[11:13], 4200.0)
    drop = DropMask(outline=random_outline(np.random.default_rng(1), 90.0), contact_deg=8.0)
    laid[13] = replace(laid[13], mask=drop)
    found = find(laid, 22.0)
    stack = fit_stack(found.flat, found.spots, f_number=22.0, pitch_um=PITCH_UM)
    assert stack is not None
    assert stack.distance_mm == pytest.approx(1.3, rel=GOAL_FRAC)


def test_scattered_distances_are_no_measurement() -> None:
    taus_um = (200.0, 420.0, 850.0, 1700.0, 3400.0)
    laid = specks(5, 2, tau_um=1.0, sizes_um=(15.0, 25.0), apart_px=110.0, thin_share=0.0)
    spread = tuple(replace(one, tau_um=tau) for one, tau in zip(laid, taus_um, strict=True))
    found = find(spread, 22.0)
    assert fit_stack(found.flat, found.spots, f_number=22.0, pitch_um=PITCH_UM) is None


def test_too_few_specks_are_no_measurement() -> None:
    found = find(specks(2, 1, tau_um=1300.0, sizes_um=(20.0, 40.0), apart_px=80.0), 22.0)
    assert fit_stack(found.flat, found.spots, f_number=22.0, pitch_um=PITCH_UM) is None
    blank = flat_frame(noisy((60, 90), 0.004, 1), 0.004)
    assert fit_stack(blank, (), f_number=22.0, pitch_um=PITCH_UM) is None


def test_only_isolated_compact_clear_marks_are_asked() -> None:
    refused = (
        replace(SPOT, snr=20.0),
        replace(SPOT, is_at_border=True),
        replace(SPOT, has_neighbour=True),
        replace(SPOT, length_px=20.0),
    )
    deep = replace(SPOT, depth_frac=0.9, snr=900.0)
    faint = replace(SPOT, snr=40.0)
    assert choose_spots((*refused, deep, faint, SPOT)) == (SPOT, faint, deep)
    assert len(choose_spots((SPOT,) * 60)) < 30
    # Many clear films do not crowd out the few specks that tell most.
    wide = replace(SPOT, snr=500.0, width_px=25.0, length_px=25.0)
    assert choose_spots((wide,) * 40 + (SPOT,) * 3)[:3] == (SPOT,) * 3


def test_what_the_user_says_comes_first_then_the_frame_then_the_record() -> None:
    measured = Stack(distance_mm=1.1, uncertainty_mm=0.04, source="measured")
    history = Stack(distance_mm=1.2, uncertainty_mm=0.05, source="measured")
    given = choose_stack(measured, 0.9, history)
    assert (given.distance_mm, given.source) == (0.9, "given")
    assert choose_stack(measured, None, history) is measured
    assert choose_stack(None, None, history) is history
    unknown = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    assumed = choose_stack(None, None, unknown)
    assert assumed == choose_stack(None, None, None)
    assert assumed.source == "assumed"
    # 1.3 mm, 40 % either way: a usual stack, from memory.
    assert assumed.distance_mm == pytest.approx(1.3)
    assert assumed.uncertainty_mm == pytest.approx(0.52)


def bound_mm(*spots: MeasuredSpot, f_number: float = 22.0) -> float:
    return farthest_mm(MeasuredSpots.of(spots), f_number, PITCH_UM)


def tiny(tau_um: float, f_number: float, shape: Shape = "speck") -> MeasuredSpot:
    """Return a mark as wide as the shadow of a tiny particle at a distance."""
    width_px = float(half_widths_um(5.0, tau_um, f_number, PITCH_UM, shape)) / PITCH_UM
    return replace(SPOT, width_px=width_px, length_px=width_px if shape == "speck" else 90.0)


@pytest.mark.parametrize("shape", ["speck", "strip"])
@pytest.mark.parametrize("tau_um", [350.0, 500.0, 700.0, 900.0, 1300.0])
@pytest.mark.parametrize("f_number", [8.0, 11.0, 16.0, 22.0, 32.0])
def test_dust_lies_no_farther_than_the_bound(f_number: float, tau_um: float, shape: Shape) -> None:
    mark = tiny(tau_um, f_number, shape)
    assert tau_um / 1000 <= bound_mm(mark, mark, f_number=f_number) <= 1.3


@pytest.mark.parametrize("f_number", [8.0, 11.0])
@pytest.mark.parametrize("tau_um", [350.0, 500.0, 700.0, 900.0])
def test_the_bound_is_close_where_the_blur_is_wide(f_number: float, tau_um: float) -> None:
    mark = tiny(tau_um, f_number)
    # Widths read a tenth too narrow are allowed for, and larger grains' shadows may be narrower.
    assert bound_mm(mark, mark, SPOT, f_number=f_number) < 1.35 * tau_um / 1000


@pytest.mark.parametrize(("f_number", "tau_um"), [(8.0, 550.0), (11.0, 800.0), (16.0, 600.0)])
def test_irregular_specks_bound_their_distance(f_number: float, tau_um: float) -> None:
    apart = apart_px(tau_um, f_number)
    laid = specks(9, 41, tau_um=tau_um, sizes_um=(8.0, 60.0), apart_px=apart)
    bound = bound_mm(*find(laid, f_number).spots, f_number=f_number)
    # A seventh short at worst, as the constant says.
    assert 6 / 7 < bound / (tau_um / 1000) < 1.35


def test_no_farther_is_assumed_than_the_bound() -> None:
    assert choose_stack(None, None, None, 0.6) == Stack(
        distance_mm=0.6, uncertainty_mm=0.4 * 0.6, source="assumed"
    )
    assert choose_stack(None, None, None, 2.0).distance_mm == pytest.approx(1.3)


@pytest.mark.parametrize("width_um", [11.0, 14.0, 16.0])
def test_marks_narrower_than_any_shadow_bound_nothing(width_um: float) -> None:
    width_px = width_um / PITCH_UM
    sharp = replace(SPOT, width_px=width_px, length_px=width_px)
    assert bound_mm(*(sharp,) * 5) == pytest.approx(1.3)
    # Nor do they hide what the shadows among them tell.
    shadows = (tiny(900.0, 22.0),) * 2
    assert bound_mm(*(sharp,) * 5, *shadows) == bound_mm(*shadows) < 1.2


def test_what_is_no_witness_leaves_the_usual_distance() -> None:
    narrow = tiny(900.0, 22.0)
    clear, ring = replace(narrow, gain_ratio=0.8), replace(narrow, hole_frac=0.4)
    cut, faint = replace(narrow, is_at_border=True), replace(narrow, snr=12.0)
    for other in (clear, ring, cut, faint, replace(SPOT, width_px=30.0, length_px=30.0)):
        assert bound_mm(narrow, other, other) == pytest.approx(1.3)
    assert bound_mm(narrow, narrow) < 1.2
    assert bound_mm() == pytest.approx(1.3)
