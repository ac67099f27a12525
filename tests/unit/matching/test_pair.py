"""Marks paired one to one."""

from dataclasses import replace

import pytest

from motemap.changes import IDENTITY
from motemap.matching import mark_table, pair_marks
from motemap.records import Spot
from sequences import Shot, report_of, spot

PLAIN = Shot()


def pairs(before: list[Spot], after: list[Spot]) -> list[tuple[int, int]]:
    found = pair_marks(
        mark_table(report_of(before, PLAIN)), mark_table(report_of(after, PLAIN)), IDENTITY
    )
    return list(zip(found.rows.tolist(), found.cols.tolist(), strict=True))


def test_near_marks_are_paired_and_far_ones_are_not() -> None:
    # The gate is half a blur disc: 1.2 mm / 22 / 6 um / 2 = 4.5 px.
    before = [spot(1, 1000, 700, shot=PLAIN), spot(2, 3000, 700, shot=PLAIN)]
    after = [spot(1, 3004, 700, shot=PLAIN), spot(2, 1000, 706, shot=PLAIN)]
    assert pairs(before, after) == [(1, 0)]


def test_the_gate_never_falls_below_three_pixels() -> None:
    coarse = Shot(stack_mm=0.1)
    table = mark_table(report_of([spot(1, 1000, 700, shot=coarse)], coarse))
    assert table.blur_px == pytest.approx(0.7576, abs=1e-4)
    assert table.gate_px == 3.0


def test_competing_marks_are_settled_together() -> None:
    # Nearest-first would join 1 to 0 and leave 0 alone.
    before = [spot(1, 1000, 700, shot=PLAIN), spot(2, 1004, 700, shot=PLAIN)]
    after = [spot(1, 1003, 700, shot=PLAIN), spot(2, 1008, 700, shot=PLAIN)]
    assert pairs(before, after) == [(0, 0), (1, 1)]


def test_of_two_equally_near_marks_the_one_of_like_size_is_taken() -> None:
    before = [spot(1, 1000, 700, shot=PLAIN, particle_um=40.0)]
    after = [
        spot(1, 1002, 700, shot=PLAIN, particle_um=12.0),
        spot(2, 998, 700, shot=PLAIN, particle_um=41.0),
    ]
    assert pairs(before, after) == [(0, 1)]


def test_unknown_sizes_do_not_stand_in_the_way() -> None:
    before = [spot(1, 1000, 700, shot=PLAIN)]
    after = [spot(1, 1001, 700, shot=PLAIN)]
    bare = [replace(after[0], particle_um=None, lost_area_um2=None)]
    assert pairs(before, bare) == [(0, 0)]


def test_no_marks_give_no_pairs() -> None:
    assert pairs([], [spot(1, 5, 6, shot=PLAIN)]) == []
    assert pairs([spot(1, 5, 6, shot=PLAIN)], []) == []
