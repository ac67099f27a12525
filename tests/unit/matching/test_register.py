"""One scale and a shift, from marks of which most went or came."""

import math

import numpy as np
import pytest

from motemap.matching import carry_back, carry_over, mark_table, register
from motemap.records import FrameReport
from sequences import Cleaning, Shot, draw_dust, draw_sequence, list_spots, report_of, spot

PLAIN = Shot()
CORNER_PX = math.hypot(3000.0, 2000.0)

WELL_LAID_PX = 1.0
"""A third of the least gate: pairs of 0.3 px marks stay well within it."""


def lay(before: FrameReport, after: FrameReport) -> tuple[float, float, float]:
    found = register(mark_table(before), mark_table(after))
    assert found.scale is not None
    assert found.shift_x_px is not None
    assert found.shift_y_px is not None
    return found.scale, found.shift_x_px, found.shift_y_px


def worst_error_px(found: tuple[float, float, float], shot: Shot) -> float:
    scale, right_px, down_px = found
    shift_px = math.hypot(right_px - shot.shift_px[0], down_px - shot.shift_px[1])
    return abs(scale - shot.scale) * CORNER_PX + shift_px


def test_the_same_list_twice_is_laid_exactly() -> None:
    listed = list_spots(
        np.random.default_rng(1), draw_dust(np.random.default_rng(2), 40), PLAIN, "a"
    )
    assert lay(listed.report, listed.report) == (1.0, 0.0, 0.0)


@pytest.mark.parametrize("n_marks", [5, 40, 300])
def test_two_frames_of_one_state_are_laid_exactly(n_marks: int) -> None:
    rng = np.random.default_rng(n_marks)
    dust = draw_dust(rng, n_marks)
    before, after = (list_spots(rng, dust, PLAIN, name) for name in "ab")
    assert lay(before.report, after.report) == (1.0, 0.0, 0.0)


@pytest.mark.parametrize("scale", [0.985, 0.9965, 1.015])
@pytest.mark.parametrize("shift_px", [(20.0, -20.0), (0.0, 0.0), (-3.2, 14.5)])
def test_scale_and_shift_are_found_when_nine_in_ten_went_and_as_many_came(
    scale: float, shift_px: tuple[float, float]
) -> None:
    shot = Shot(scale=scale, shift_px=shift_px)
    drawn = draw_sequence(
        np.random.default_rng(7), 120, Cleaning(stayed=0.1, n_new=100), (PLAIN, shot)
    )
    found = lay(drawn.before.report, drawn.after.report)
    assert worst_error_px(found, shot) < WELL_LAID_PX


def test_raw_and_the_cameras_own_picture_are_laid_by_their_middles() -> None:
    raw = Shot(width_px=6048, height_px=4024)
    picture = Shot(kind="jpeg", f_number=16.0, scale=1.004, shift_px=(4.0, -2.0))
    drawn = draw_sequence(np.random.default_rng(3), 60, Cleaning(stayed=0.5), (raw, picture))
    found = lay(drawn.before.report, drawn.after.report)
    assert worst_error_px(found, picture) < WELL_LAID_PX


def test_one_lasting_mark_is_enough_but_said_to_be_little() -> None:
    before = report_of([spot(1, 700, 900, shot=PLAIN), spot(2, 4000, 300, shot=PLAIN)], PLAIN)
    after = report_of([spot(1, 712, 895, shot=PLAIN)], PLAIN)
    found = register(mark_table(before), mark_table(after))
    assert found.n_used == 1
    assert found.reason == "rests on 1 mark"
    over = carry_over(mark_table(before).place_px[:1], found)
    # The prior pulls a lone mark towards "nothing moved" by less than a tenth of its error.
    assert over == pytest.approx(mark_table(after).place_px, abs=0.1)


@pytest.mark.parametrize("seed", range(5))
def test_nothing_in_common_is_nothing_to_register_by(seed: int) -> None:
    rng = np.random.default_rng(seed)
    before, after = (list_spots(rng, draw_dust(rng, 12), PLAIN, name) for name in "ab")
    found = register(mark_table(before.report), mark_table(after.report))
    assert (found.scale, found.shift_x_px, found.residual_px, found.n_used) == (None, None, None, 0)
    assert found.reason == "too few marks are alike in both to register by"


def test_an_empty_state_is_said_to_be_empty() -> None:
    full, empty = report_of([spot(1, 700, 900, shot=PLAIN)], PLAIN), report_of([], PLAIN)
    assert register(mark_table(full), mark_table(empty)).reason == (
        "the second state has no marks to register by"
    )
    assert register(mark_table(empty), mark_table(full)).reason == (
        "the first state has no marks to register by"
    )


def test_marks_on_the_lens_take_no_part() -> None:
    fixed = [spot(n, 500.0 * n, 300.0 * n, shot=PLAIN) for n in range(1, 6)]
    lens = [
        spot(n, 400.0 * n, 200.0 * n + 100, shot=PLAIN, layer="lens side") for n in range(6, 10)
    ]
    moved = [
        spot(n, 400.0 * n + 15, 200.0 * n + 100, shot=PLAIN, layer="lens side")
        for n in range(6, 10)
    ]
    found = register(
        mark_table(report_of([*fixed, *lens], PLAIN)),
        mark_table(report_of([*fixed, *moved], PLAIN)),
    )
    assert (found.scale, found.shift_x_px, found.n_used) == (1.0, 0.0, 5)


def test_carrying_back_undoes_carrying_over() -> None:
    place_px = np.array([[100.0, -40.0], [-2000.0, 1500.0]])
    dust = draw_dust(np.random.default_rng(4), 30)
    shot = Shot(scale=1.01, shift_px=(5.0, -7.0))
    rng = np.random.default_rng(5)
    found = register(
        mark_table(list_spots(rng, dust, PLAIN, "a").report),
        mark_table(list_spots(rng, dust, shot, "b").report),
    )
    assert carry_back(carry_over(place_px, found), found) == pytest.approx(place_px)


def test_a_filthy_frame_is_laid_as_well() -> None:
    shot = Shot(scale=1.008, shift_px=(-11.0, 6.0))
    drawn = draw_sequence(np.random.default_rng(11), 1500, Cleaning(stayed=0.9), (PLAIN, shot))
    found = lay(drawn.before.report, drawn.after.report)
    assert worst_error_px(found, shot) < WELL_LAID_PX
