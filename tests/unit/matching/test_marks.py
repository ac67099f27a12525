"""Spots as columns, and which frames can be compared at all."""

import math
from dataclasses import replace

import numpy as np
import pytest

from motemap.bodies import BodyKey, body_key
from motemap.matching import mark_table, refusal
from motemap.matching.chance import agrees_in_size, chance_pairs, log_tail
from motemap.records import Camera, FrameReport
from sequences import BODY, Cleaning, Shot, draw_dust, draw_sequence, list_spots, report_of, spot

PLAIN = Shot()
JPEG = Shot(kind="jpeg")


def test_places_are_measured_from_the_middle_of_the_picture() -> None:
    # 6000 x 4000 px: the middle lies between pixels 2999 and 3000, 1999 and 2000.
    table = mark_table(report_of([spot(1, 2999.5, 1999.5, shot=PLAIN)], PLAIN))
    assert table.place_px.tolist() == [[0.0, 0.0]]
    assert (table.half_width_px, table.half_height_px) == (3000.0, 2000.0)


def test_a_fibre_counts_with_its_whole_area() -> None:
    fibre = spot(1, 10, 20, shot=PLAIN, kind="fibre", particle_um=10.0, length_um=1000.0)
    size_um = math.exp(mark_table(report_of([fibre], PLAIN)).log_size[0])
    # A disc of the area of 10 x 1000 um.
    assert size_um == pytest.approx(math.sqrt(4 / math.pi * 10_000))


def test_the_lost_area_stands_in_for_an_unknown_size() -> None:
    one = spot(1, 10, 20, shot=PLAIN, lost_area_um2=math.pi * 100.0)
    one = replace(one, particle_um=None)
    assert math.exp(mark_table(report_of([one], PLAIN)).log_size[0]) == pytest.approx(20.0)
    none = replace(one, lost_area_um2=None)
    assert np.isnan(mark_table(report_of([none], PLAIN)).log_size[0])


def test_another_body_is_refused() -> None:
    one = report_of([], PLAIN)
    other = report_of([], PLAIN, camera=replace(BODY, serial="K-99999"))
    assert refusal(one, one) is None
    said = refusal(one, other)
    assert said is not None
    assert said[0] == (
        "The two states come from different bodies (serial 'K-20418' and 'K-99999')."
    )


def test_an_unknown_serial_is_no_other_body_but_another_model_is() -> None:
    one = report_of([], PLAIN)
    unknown = report_of([], PLAIN, camera=replace(BODY, serial=None))
    assert refusal(one, unknown) is None
    other = report_of([], PLAIN, camera=Camera(maker="Halvern", model="Halvern Q9"))
    said = refusal(unknown, other)
    assert said is not None
    assert "model" in said[0]


@pytest.mark.parametrize(
    ("size", "word"),
    [((3000, 2000), "differ in size"), ((4000, 6000), "turned by a program")],
)
def test_another_picture_size_is_refused(size: tuple[int, int], word: str) -> None:
    other = Shot(width_px=size[0], height_px=size[1])
    said = refusal(report_of([], PLAIN), report_of([], other))
    assert said is not None
    assert word in said[0]


def test_a_raw_with_a_few_more_border_pixels_is_the_same_size() -> None:
    assert refusal(report_of([], PLAIN), report_of([], Shot(width_px=6048, height_px=4024))) is None


def test_a_body_is_named_tidily() -> None:
    key = body_key(Camera(maker=" Halvern ", model="Halvern  Q7", serial="K-1 "))
    assert key == BodyKey("Halvern", "Halvern Q7", "K-1")
    assert key.is_certain
    assert BodyKey("Halvern", "", "").title == "Halvern (serial unknown)"
    assert body_key(Camera()).title == "unknown body (serial unknown)"


def test_chance_pairs_by_hand() -> None:
    # One pair of like size in 24 Mpx, within 10 px: pi 100 / 24e6.
    one = mark_table(report_of([spot(1, 10, 20, shot=PLAIN)], PLAIN))
    assert chance_pairs(one, one, 10.0) == pytest.approx(math.pi * 100 / 24e6)


def test_sizes_a_factor_of_three_apart_do_not_agree() -> None:
    small = mark_table(report_of([spot(1, 10, 20, shot=PLAIN, particle_um=10.0)], PLAIN))
    large = mark_table(report_of([spot(1, 10, 20, shot=PLAIN, particle_um=30.0)], PLAIN))
    first = np.zeros(1, dtype=np.intp)
    assert not agrees_in_size(small, large, first, first)[0]
    assert agrees_in_size(small, small, first, first)[0]


@pytest.mark.parametrize(("n_pairs", "expected"), [(2, 0.1), (5, 0.5), (3, 2.0)])
def test_the_tail_is_an_upper_bound_near_the_exact_one(n_pairs: int, expected: float) -> None:
    below = sum(expected**k * math.exp(-expected) / math.factorial(k) for k in range(n_pairs))
    exact = 1.0 - below
    bound = math.exp(log_tail(n_pairs, expected))
    assert exact * (1 - 1e-9) <= bound <= exact * 1.5


def test_pairs_where_none_are_due_cannot_be_chance() -> None:
    assert log_tail(1, 0.0) == -math.inf


def turned(report: FrameReport) -> FrameReport:
    """The same marks in a picture that a program turned by half a circle."""
    spots = tuple(
        replace(
            spot,
            image_x_px=PLAIN.width_px - 1 - spot.image_x_px,
            image_y_px=PLAIN.height_px - 1 - spot.image_y_px,
        )
        for spot in report.spots
    )
    return replace(report, spots=spots)


@pytest.mark.parametrize("shot", [JPEG, replace(JPEG, scale=0.99, shift_px=(8.0, -5.0))])
def test_a_picture_turned_by_half_is_refused_whatever_was_cleaned(shot: Shot) -> None:
    drawn = draw_sequence(
        np.random.default_rng(31), 40, Cleaning(stayed=0.3, n_new=10), (PLAIN, shot)
    )
    before, after = drawn.before.report, drawn.after.report
    assert refusal(before, after) is None
    for one, two in ((before, turned(after)), (turned(after), before)):
        said = refusal(one, two)
        assert said is not None
        assert "turned by 180 degrees" in said[0]
        assert said[1] == "Use both files as the camera stored them."


@pytest.mark.parametrize("n_marks", [1, 5, 40, 200])
def test_marks_of_which_none_stayed_are_not_taken_for_turned(n_marks: int) -> None:
    for seed in range(20):
        drawn = draw_sequence(
            np.random.default_rng(seed),
            n_marks,
            Cleaning(stayed=0.0, n_new=n_marks),
            (PLAIN, JPEG),
        )
        assert refusal(drawn.before.report, drawn.after.report) is None


def test_a_raw_is_never_turned() -> None:
    listed = list_spots(
        np.random.default_rng(5), draw_dust(np.random.default_rng(6), 40), PLAIN, "a"
    ).report
    assert refusal(listed, turned(listed)) is None
