"""The story of a sequence, and streaks."""

from dataclasses import replace

import pytest

from motemap.changes import IDENTITY, MarkFate, StateChange
from motemap.compare import has_streaks, tell_story
from motemap.records import FrameReport, Spot
from sequences import Shot, report_of, spot

PLAIN = Shot()


def state(n_spots: int, place: str = "lower edge") -> FrameReport:
    return report_of(
        [spot(n, 60.0 * n, 90.0, shot=PLAIN, place=place) for n in range(1, n_spots + 1)], PLAIN
    )


def test_the_story_is_told_as_a_person_tells_it() -> None:
    states = [state(41), state(12), state(3)]
    assert tell_story(states, states[-1].spots[:1], "f/11") == (
        "41 marks, then 12, then 3, of which 1 would show at f/11 near the lower edge."
    )


@pytest.mark.parametrize(
    ("numbers", "n_showing", "end"),
    [
        ((5, 2), 0, "5 marks, then 2, none of which would show at f/8."),
        ((5, 1), 0, "5 marks, then 1, which would not show at f/8."),
        ((5, 0), 0, "5 marks, then 0."),
        ((1, 1), 1, "1 mark, then 1, which would show at f/8 near the lower edge."),
        ((9, 4), 3, "9 marks, then 4, of which 3 would show at f/8 near the lower edge."),
    ],
)
def test_few_and_none(numbers: tuple[int, int], n_showing: int, end: str) -> None:
    states = [state(number) for number in numbers]
    assert tell_story(states, states[-1].spots[:n_showing], "f/8") == end


def test_what_shows_from_the_lens_is_told_apart() -> None:
    three = state(3)
    on_lens = replace(three.spots[0], layer="lens side")
    said = tell_story([state(9), three], [on_lens], "f/8")
    assert said == (
        "9 marks, then 3, of which none on the sensor would show at f/8, but 1 on the lens."
    )
    every = [replace(each, layer="lens side") for each in three.spots]
    said = tell_story([state(9), replace(three, spots=tuple(every))], every, "f/8")
    assert said.endswith(
        "then 3, of which none on the sensor would show at f/8, but 3 on the lens."
    )
    said = tell_story([state(9), three], [on_lens, three.spots[1]], "f/8")
    assert said.endswith(
        "of which 1 would show at f/8 near the lower edge, and 1 more on the lens."
    )
    said = tell_story([state(9), state(1)], [on_lens], "f/8")
    assert said == "9 marks, then 1, which would show at f/8, on the lens."


def test_many_places_are_not_named() -> None:
    spots = [*state(1, "centre").spots, *state(1, "left edge").spots, *state(1, "top").spots]
    said = tell_story([state(9), report_of(spots, PLAIN)], spots, "f/8")
    assert said == "9 marks, then 3, all of which would show at f/8."


def test_an_unfit_state_is_told_as_such() -> None:
    unfit = FrameReport(file="x", state="reshoot")
    assert tell_story([state(4), unfit], [], "f/8") == "4 marks, then a frame not fit to judge."


def band(**changes: float) -> Spot:
    return spot(
        1,
        900,
        800,
        shot=PLAIN,
        **{"depth_frac": 0.01, "width_um": 400.0, "length_um": 9000.0, **changes},
    )


@pytest.mark.parametrize(
    ("mark", "expected"),
    [
        (band(), True),
        (band(length_um=1900.0), False),
        (band(width_um=200.0, length_um=4000.0), False),
        (band(depth_frac=0.2), False),
    ],
)
def test_a_long_broad_faint_band_that_came_is_a_streak(mark: Spot, *, expected: bool) -> None:
    came = MarkFate(fate="new", before_id=None, after_id=1)
    change = StateChange(before="a", after="b", registration=IDENTITY, marks=(came,))
    assert has_streaks(change, report_of([mark], PLAIN)) is expected


def test_a_band_that_was_there_is_no_streak_of_this_pass() -> None:
    stayed = MarkFate(fate="stayed", before_id=1, after_id=1)
    change = StateChange(before="a", after="b", registration=IDENTITY, marks=(stayed,))
    assert not has_streaks(change, report_of([band()], PLAIN))


def test_a_band_that_was_perhaps_there_before_is_no_streak() -> None:
    unsure = MarkFate(fate="undecided", before_id=None, after_id=1)
    change = StateChange(before="a", after="b", registration=IDENTITY, marks=(unsure,))
    assert not has_streaks(change, report_of([band()], PLAIN))
