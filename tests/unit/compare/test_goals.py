"""What a comparison promises, held against drawn sequences of spot lists."""

import numpy as np
import pytest

from motemap.compare import compare_states
from sequences import Cleaning, Score, Shot, draw_dust, draw_sequence, list_spots, score

RIGHT_SHARE = 0.97
MOVED_SHARE = 0.90


def shots(rng: np.random.Generator, number: int) -> tuple[Shot, Shot]:
    """Two shots of one body: by turns the same, other lens, other aperture, raw and picture."""
    one, two = [(22.0, 22.0), (22.0, 16.0), (16.0, 22.0), (16.0, 16.0)][number % 4]
    stack_mm = float(rng.uniform(0.8, 1.6))
    scale = float(rng.uniform(0.985, 1.015)) if number % 3 else 1.0
    right_px, down_px = rng.uniform(-20.0, 20.0, 2) if number % 2 else (0.0, 0.0)
    before = Shot(f_number=one, stack_mm=stack_mm, width_px=6048, height_px=4024)
    is_picture = number % 5 == 4
    after = Shot(
        f_number=two,
        stack_mm=stack_mm,
        scale=scale,
        shift_px=(float(right_px), float(down_px)),
        kind="jpeg" if is_picture else "raw",
        width_px=6000 if is_picture else 6048,
        height_px=4000 if is_picture else 4024,
        limit_frac=0.006 if is_picture else 0.004,
        curve_gain=float(rng.uniform(0.75, 1.3)) if is_picture else 1.0,
    )
    return before, after


@pytest.mark.parametrize("n_marks", [5, 40, 300])
@pytest.mark.parametrize("stayed", [0.09, 0.4, 0.85])
def test_fates_are_right(n_marks: int, stayed: float) -> None:
    rng = np.random.default_rng(n_marks)
    tally = Score()
    for number in range(max(12, 240 // n_marks)):
        n_new = int(rng.poisson(n_marks * (0.02 if number % 2 else 0.5)))
        cleaning = Cleaning(stayed=stayed, weaker=0.02, moved=0.02, n_new=n_new)
        drawn = draw_sequence(rng, n_marks, cleaning, shots(rng, number))
        score(drawn, compare_states(drawn.before.report, drawn.after.report), tally)
    assert tally.n_marks > 100
    assert tally.right_share >= RIGHT_SHARE


def test_a_mover_is_named_only_when_it_is_right() -> None:
    rng = np.random.default_rng(20)
    tally = Score()
    for number in range(220):
        cleaning = Cleaning(stayed=0.85, moved=0.08, n_new=int(rng.poisson(0.5)))
        drawn = draw_sequence(rng, 12, cleaning, (Shot(), Shot(scale=1.0 + 1e-3 * (number % 5))))
        score(drawn, compare_states(drawn.before.report, drawn.after.report), tally)
    assert tally.n_named >= 10
    assert tally.n_named_right >= MOVED_SHARE * tally.n_named


@pytest.mark.parametrize("apertures", [(22.0, 22.0), (22.0, 16.0), (16.0, 22.0)])
@pytest.mark.parametrize("limit_frac", [0.004, 0.008])
def test_two_frames_of_one_state_have_nothing_new_and_nothing_gone(
    apertures: tuple[float, float], limit_frac: float
) -> None:
    rng = np.random.default_rng(31)
    for number, n_marks in enumerate([5, 20, 60, 150, 300, 300]):
        scale = float(rng.uniform(0.985, 1.015)) if number % 2 else 1.0
        dust = draw_dust(rng, n_marks)
        one = Shot(f_number=apertures[0], limit_frac=limit_frac)
        two = Shot(f_number=apertures[1], limit_frac=limit_frac, scale=scale)
        change = compare_states(
            list_spots(rng, dust, one, "a").report, list_spots(rng, dust, two, "b").report
        )
        assert change.counts["gone"] == change.counts["new"] == change.counts["moved"] == 0
