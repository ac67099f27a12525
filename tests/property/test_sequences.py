"""What holds for every comparison and every record."""

import json
from dataclasses import replace
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kept import KEY, entry, report
from motemap.bodies import BodyKey
from motemap.changes import StateChange
from motemap.compare import compare_states
from motemap.history import Store, export_document, import_document
from motemap.history.place import default_place
from motemap.matching import carry_back, carry_over, mark_table, register
from motemap.records import FrameReport, Spot
from sequences import Shot, draw_dust, list_spots, report_of, spot

PLAIN = Shot()

SPOTS = st.lists(
    st.builds(
        lambda col, row, depth, number: spot(
            number, float(col), float(row), shot=PLAIN, depth_frac=depth
        ),
        st.integers(0, 5999),
        st.integers(0, 3999),
        st.floats(0.005, 0.9),
        st.just(1),
    ),
    max_size=25,
    unique_by=lambda one: (round(one.image_x_px / 60), round(one.image_y_px / 60)),
)
"""Marks at least a good blur disc apart."""


def frame(spots: list[Spot], file: str = "frame") -> FrameReport:
    ranked = sorted(spots, key=lambda one: -one.depth_frac)
    return report_of(
        [replace(one, id=number) for number, one in enumerate(ranked, start=1)], PLAIN, file
    )


def ids(change: StateChange) -> tuple[list[int], list[int]]:
    before = [mark.before_id for mark in change.marks if mark.before_id is not None]
    after = [mark.after_id for mark in change.marks if mark.after_id is not None]
    return sorted(before), sorted(after)


@given(SPOTS, SPOTS)
def test_every_mark_meets_one_fate(before: list[Spot], after: list[Spot]) -> None:
    change = compare_states(frame(before), frame(after))
    assert ids(change) == (
        list(range(1, len(before) + 1)),
        list(range(1, len(after) + 1)),
    )
    for mark in change.marks:
        is_pair = mark.before_id is not None and mark.after_id is not None
        assert is_pair == (mark.fate in {"stayed", "weaker", "moved"})
        assert mark.reasons


@given(SPOTS)
def test_a_state_compared_with_itself_has_only_marks_that_stayed(spots: list[Spot]) -> None:
    change = compare_states(frame(spots), frame(spots))
    assert change.counts["stayed"] == len(spots) == len(change.marks)
    if spots:
        assert change.registration.scale == 1.0


@given(st.integers(0, 10_000), st.integers(0, 40), st.floats(0.985, 1.015), st.floats(-20, 20))
@settings(max_examples=40)
def test_back_in_time_gone_is_new(seed: int, n_marks: int, scale: float, shift_px: float) -> None:
    rng = np.random.default_rng(seed)
    dust = draw_dust(rng, n_marks)
    left = dust.take(np.flatnonzero(rng.random(n_marks) < 0.6))
    one = list_spots(rng, dust, PLAIN, "one").report
    two = list_spots(rng, left, replace(PLAIN, scale=scale, shift_px=(shift_px, 3.0)), "two").report
    forth, back = compare_states(one, two).counts, compare_states(two, one).counts
    assert (forth["gone"], forth["new"]) == (back["new"], back["gone"])


@given(st.integers(0, 10_000), st.integers(1, 60), st.randoms(use_true_random=False))
@settings(max_examples=40)
def test_the_order_of_spots_does_not_matter(seed: int, n_marks: int, shuffler: Random) -> None:
    rng = np.random.default_rng(seed)
    dust = draw_dust(rng, n_marks)
    shot = replace(PLAIN, scale=1.004, shift_px=(7.0, -3.0))
    one = list_spots(rng, dust, PLAIN, "one").report
    two = list_spots(rng, dust, shot, "two").report
    mixed = list(two.spots)
    shuffler.shuffle(mixed)
    found = register(mark_table(one), mark_table(two))
    again = register(mark_table(one), mark_table(replace(two, spots=tuple(mixed))))
    assert found.n_used == again.n_used
    assert found.scale == pytest.approx(again.scale)


@given(st.floats(0.97, 1.03), st.floats(-30, 30), st.floats(-30, 30))
def test_there_and_back_again(scale: float, right_px: float, down_px: float) -> None:
    found = replace(
        register(mark_table(frame([])), mark_table(frame([]))),
        scale=scale,
        shift_x_px=right_px,
        shift_y_px=down_px,
    )
    place_px = np.array([[2999.0, -1999.0], [0.0, 0.0], [-17.25, 900.5]])
    assert carry_back(carry_over(place_px, found), found) == pytest.approx(place_px, abs=1e-9)


TEXT = st.text(max_size=12).map(lambda text: " ".join(text.split()))
BODIES = st.builds(BodyKey, TEXT, TEXT, TEXT)


@given(SPOTS, BODIES, st.lists(st.sampled_from(["blower", "brush", "wet swab"]), max_size=3), TEXT)
@settings(max_examples=40)
def test_what_is_kept_comes_back_digit_by_digit(
    spots: list[Spot], body: BodyKey, done: list[str], file: str
) -> None:
    plain = report("2031-05-02T10:00:00", frame(spots).spots, file=file)
    one = entry(plain, body=body, done=tuple(done))
    with TemporaryDirectory() as folder:
        with Store.open(Path(folder) / "one") as store:
            store.put([one])
            assert store.entries(body) == (one,)
            document = json.loads(json.dumps(export_document(store, "0")))
        with Store.open(Path(folder) / "two") as store:
            import_document(store, document, path="x")
            assert store.entries(body) == (one,)


@given(st.permutations(range(6)))
@settings(max_examples=20)
def test_the_order_of_keeping_does_not_matter(order: list[int]) -> None:
    entries = [entry(report(f"2031-05-0{day + 1}T10:00:00")) for day in range(6)]
    with TemporaryDirectory() as folder, Store.open(Path(folder) / "db") as store:
        for index in order:
            store.put([entries[index]])
        assert store.entries(KEY) == tuple(entries)


@given(st.sampled_from(["linux", "darwin", "win32"]), TEXT)
def test_the_record_always_has_a_name(platform: str, given_text: str) -> None:
    place = default_place({"XDG_DATA_HOME": given_text}, Path("/home/mara"), platform)
    assert place.name == "history.sqlite3"
    assert place.parent.name == "motemap"
