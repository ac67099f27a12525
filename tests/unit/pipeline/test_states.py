"""States in order of cleaning: the verdict follows the ladder."""

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from motemap.bodies import KeptState
from motemap.compare import compare_states
from motemap.errors import SettingsError
from motemap.pipeline.states import compare_all, last_passes, past_passes
from motemap.records import ErrorNote, Exposure, FrameReport, Spot, Verdict
from motemap.settings import Settings, WorkSettings
from motemap.verdict import PassOutcome
from sequences import BODY, Shot, report_of, spot

PLAIN = Shot()


def shows(number: int, **changes: Any) -> Spot:
    """A mark that shows at f/11."""
    plain = spot(number, 500.0 * number, 300.0 * number, shot=PLAIN, depth_frac=0.3)
    return replace(plain, depth_at={"11": 0.08, "22": 0.3}, **changes)


def hides(number: int) -> Spot:
    plain = spot(number, 500.0 * number, 300.0 * number, shot=PLAIN, depth_frac=0.03)
    return replace(plain, depth_at={"11": 0.005, "22": 0.03}, shows_from_f=22.0)


def state(file: str, *spots: Spot) -> FrameReport:
    numbered = [replace(each, id=number) for number, each in enumerate(spots, start=1)]
    return report_of(numbered, PLAIN, file, verdict=Verdict(level="clean", method="blower"))


def settings(*done: str) -> Settings:
    return Settings(work=WorkSettings(done=done))


MANY = tuple(shows(n) for n in range(1, 9))
FEW = MANY[:3]


def test_nothing_that_shows_is_good_enough() -> None:
    found = compare_all([state("a", *MANY), state("b", hides(1))], settings("blower"))
    assert (found.verdict.level, found.verdict.method) == ("ready", "none")
    assert found.verdict.reasons[0].startswith("1 mark was found on the sensor; it would not")
    assert any("Stop here" in reason for reason in found.verdict.reasons)
    assert found.story == "8 marks, then 1, which would not show at f/11."


@pytest.mark.parametrize(
    ("done", "method"), [("blower", "brush"), ("brush", "wet swab"), ("wet swab", "wet swab")]
)
def test_what_outlived_a_method_gets_the_next_one(done: str, method: str) -> None:
    found = compare_all([state("a", *MANY), state("b", *FEW)], settings(done))
    assert (found.verdict.level, found.verdict.method) == ("clean", method)
    assert found.verdict.cautions
    assert found.changes[0].done == (done,)


def test_what_outlived_two_wet_passes_goes_to_a_service() -> None:
    states = [state("a", *MANY), state("b", *FEW), state("c", *FEW[:2])]
    found = compare_all(states, settings("wet swab", "wet swab"))
    assert found.verdict.method == "service"


def test_nothing_changed_twice_goes_to_a_service() -> None:
    states = [state(name, *FEW) for name in "abc"]
    found = compare_all(states, settings("wet swab", "wet swab"))
    assert found.verdict.method == "service"
    assert any("changed nothing" in reason for reason in found.verdict.reasons)


@pytest.mark.parametrize("names", ["ab", "abc"])
def test_where_nothing_is_said_to_be_done_there_was_no_pass(names: str) -> None:
    found = compare_all([state(name, *FEW) for name in names], settings())
    assert found.verdict.method == "blower"
    assert any("Nothing has been tried on what shows" in each for each in found.verdict.reasons)
    assert not any("hanged nothing" in reason for reason in found.verdict.reasons)
    assert not any("Nothing changed" in reason for reason in found.verdict.reasons)


def test_a_mark_on_the_lens_makes_no_pass_idle() -> None:
    # On the sensor something went with each pass; only the shadow from the lens stayed.
    shadow = shows(12, layer="lens side")
    states = [state("a", shadow, *MANY[:2]), state("b", shadow, *MANY[1:2]), state("c", shadow)]
    kept = [
        KeptState(report=each, digest="", recorded_at="", done=("wet swab",)) for each in states
    ]
    changes = [compare_states(one, two) for one, two in pairwise(states)]
    only_lens = [(change, after) for change, after in zip(changes[1:], kept[2:], strict=True)]
    (outcome,) = past_passes(only_lens, ()).passes
    assert (outcome.n_gone, outcome.n_stayed) == (1, 0)


def test_a_pass_of_which_most_is_undecided_is_not_said_to_have_changed_nothing() -> None:
    assert PassOutcome(method="wet swab", n_stayed=3, n_undecided=1).is_idle
    assert not PassOutcome(method="wet swab", n_stayed=1, n_undecided=2).is_idle


def test_two_passes_between_two_states_are_two() -> None:
    states = [state("a", *FEW), state("b", *FEW)]
    once = compare_all(states, settings("wet swab"))
    assert once.verdict.method == "wet swab"
    twice = compare_all(states, settings("wet swab", "wet swab"))
    assert twice.verdict.method == "service"
    assert any("Two wet passes in a row changed nothing" in each for each in twice.verdict.reasons)


def test_what_came_long_after_the_last_pass_is_not_its_doing() -> None:
    states = [state("a", *FEW), state("b", *FEW, *MANY[3:5]), state("c", *MANY), state("d", *MANY)]
    kept = [
        KeptState(report=each, digest="", recorded_at="", done=("wet swab",) if is_wet else ())
        for each, is_wet in zip(states, (False, True, True, False), strict=True)
    ]
    assert last_passes(kept) == []
    assert last_passes(kept[:3]) == [(kept[0], kept[1]), (kept[1], kept[2])]


def test_what_was_done_before_a_picture_given_twice_counts_for_the_next() -> None:
    first = state("a", *MANY)
    found = compare_all([first, first, state("b", *FEW)], settings("wet swab", "blower"))
    assert found.done == ((), (), ("wet swab", "blower"))
    assert found.verdict.method == "wet swab"


def test_two_wet_passes_that_brought_more_than_they_took_end_it() -> None:
    states = [state("a", *MANY[:2]), state("b", *MANY[1:5]), state("c", *MANY[2:])]
    found = compare_all(states, settings("wet swab", "wet swab"))
    assert found.verdict.method == "service"
    assert any("more dirt came than went" in reason for reason in found.verdict.reasons)


def test_dust_that_settled_over_days_is_not_laid_to_the_pass() -> None:
    later = Exposure(f_number=22.0, taken_at="2031-05-30T10:00:00")
    more = replace(state("b", *FEW, *(shows(n) for n in range(9, 13))), exposure=later)
    found = compare_all([state("a", *FEW), more], settings("wet swab"))
    assert not any("brought dirt in" in reason for reason in found.verdict.reasons)


def test_shots_given_in_another_order_than_taken_are_said_to_be() -> None:
    earlier = Exposure(f_number=22.0, taken_at="2031-05-02T09:30:00")
    second = replace(state("b", *MANY), exposure=earlier)
    found = compare_all([state("a", *FEW), second], settings("blower"))
    (note,) = found.changes[0].notes
    assert note == (
        "the second was taken first, at 2031-05-02 09:30:00, not 2031-05-02 10:00:00; see whether "
        "the order is right"
    )
    assert "not taken in the order given" in found.verdict.reasons[-1]
    assert not any("brought dirt in" in reason for reason in found.verdict.reasons)
    # The same without a word of what was done, and where nothing shows.
    clean = replace(state("b", hides(1)), exposure=earlier)
    ready = compare_all([state("a", *FEW), clean], settings())
    assert ready.verdict.level == "ready"
    assert "not taken in the order given" in ready.verdict.reasons[-1]


def test_more_than_before_was_wiped_in() -> None:
    more = [*FEW, *(shows(n) for n in range(9, 13))]
    found = compare_all([state("a", *FEW), state("b", *more)], settings("wet swab"))
    assert found.verdict.method == "wet swab"
    advice = "brought dirt in. The next time, take a new swab."
    assert any(advice in reason for reason in found.verdict.reasons)


def test_streaks_ask_for_less_fluid() -> None:
    streak = shows(
        10, kind="smear", depth_frac=0.025, width_um=400.0, length_um=9000.0, particle_um=400.0
    )
    found = compare_all([state("a", *MANY), state("b", *FEW, streak)], settings("wet swab"))
    assert any("less fluid" in reason for reason in found.verdict.reasons)


def test_streaks_come_with_a_swab_only() -> None:
    streak = shows(
        10, kind="smear", depth_frac=0.025, width_um=400.0, length_um=9000.0, particle_um=400.0
    )
    found = compare_all([state("a", *MANY), state("b", *FEW, streak)], settings("blower"))
    assert not any("Streaks" in reason for reason in found.verdict.reasons)
    both = settings("wet swab", "blower")
    found = compare_all([state("a", *MANY), state("b", *FEW, streak)], both)
    assert any("Streaks came with the wet swab" in reason for reason in found.verdict.reasons)


def test_the_last_state_carries_the_counts_and_the_verdict() -> None:
    found = compare_all([state("a", *MANY), state("b", *FEW, hides(9))], settings("blower"))
    last = found.states[-1]
    assert (last.counts.found, last.counts.showing) == (4, 3)
    assert last.verdict == found.verdict


def test_the_past_is_told_mark_by_mark() -> None:
    states = [state("a", *MANY), state("b", *FEW), state("c", *FEW)]
    found = compare_all(states, settings("blower", "brush"))
    assert any(
        "is here for the third time and has outlived a blower and a brush" in reason
        for reason in found.verdict.reasons
    )


def test_a_state_not_fit_to_judge_is_passed_over_and_what_was_done_before_it_counts() -> None:
    unfit = FrameReport(file="b", state="reshoot", verdict=Verdict(level="reshoot"))
    states = [state("a", *MANY), unfit, state("c", *FEW)]
    found = compare_all(states, settings("blower", "brush"))
    assert [(change.before, change.after) for change in found.changes] == [("a", "c")]
    assert found.changes[0].done == ("blower", "brush")
    assert found.notes == ("b is not fit to judge and was passed over.",)
    assert found.verdict.method == "wet swab"


def test_what_was_done_counts_where_the_first_state_is_not_fit_to_judge() -> None:
    unfit = FrameReport(file="a", state="reshoot", verdict=Verdict(level="reshoot"))
    found = compare_all([unfit, state("b", *FEW)], settings("blower"))
    assert found.verdict.method == "brush"
    assert found.verdict.reasons[-1].startswith("What shows has outlived the blower")
    assert found.done == ((), ("blower",))
    # And it goes on to count when a third state follows.
    found = compare_all([unfit, state("b", *FEW), state("c", *FEW)], settings("wet", "wet"))
    assert found.verdict.method == "service"


def test_a_last_state_not_fit_to_judge_has_to_be_shot_again() -> None:
    unfit = FrameReport(
        file="b", state="reshoot", verdict=Verdict(level="reshoot", reasons=("Too dark.",))
    )
    found = compare_all([state("a", *MANY), unfit], settings("blower"))
    named = "The last state, b, is not fit to judge."
    assert (found.verdict.level, found.verdict.reasons) == ("reshoot", (named, "Too dark."))
    assert (found.changes, found.notes) == ((), ())
    assert found.story == "8 marks, then a frame not fit to judge."


def test_an_unreadable_last_state_says_why() -> None:
    broken = FrameReport(
        file="b", state="unreadable", error=ErrorNote(cause="It is cut off.", repair="Copy again.")
    )
    found = compare_all([state("a", *MANY), broken], settings())
    reasons = ("The last state, b, could not be read.", "It is cut off.", "Copy again.")
    assert (found.verdict.level, found.verdict.reasons) == ("reshoot", reasons)
    assert found.story == "8 marks, then a frame that could not be read."
    assert compare_all([broken, state("b", *FEW)], settings()).notes == (
        "b could not be read and was passed over.",
    )


def test_one_state_is_nothing_to_compare() -> None:
    with pytest.raises(SettingsError, match="nothing to compare"):
        compare_all([state("a", *FEW)], settings())


def test_methods_have_to_fit_the_number_of_states() -> None:
    states = [state(name, *FEW) for name in "abc"]
    with pytest.raises(SettingsError, match="3 methods do not fit 3 states") as caught:
        compare_all(states, settings("blower", "brush", "wet swab"))
    assert caught.value.repair == "Give one for each step with --done: 2 in all."


def test_between_two_states_any_number_of_methods_was_used() -> None:
    found = compare_all([state("a", *MANY), state("b", *FEW)], settings("blower", "brush"))
    assert found.changes[0].done == ("blower", "brush")


@pytest.mark.parametrize(
    "other",
    [
        report_of([], PLAIN, "b", camera=replace(BODY, serial="K-99999")),
        report_of([], Shot(width_px=3000, height_px=2000), "b"),
    ],
)
def test_states_that_cannot_be_compared_are_wrong_usage(other: FrameReport) -> None:
    with pytest.raises(SettingsError) as caught:
        compare_all([state("a", *FEW), other], settings())
    assert caught.value.path == "a and b"
