"""Which method comes next, and when to stop."""

from dataclasses import replace

import pytest

from motemap.errors import SettingsError
from motemap.records import Method, SpotKind
from motemap.verdict import MarkPast, PassOutcome, PastPasses
from verdicts import said, spot, verdict_on

# --- the ladder, from what the user says was done -----------------------------------------------


@pytest.mark.parametrize(
    ("done", "method"),
    [
        ((), "blower"),
        (("blower",), "brush"),
        (("Blower", "BRUSH"), "wet swab"),
        (("brush",), "wet swab"),
        (("blower", "brush", "wet swab"), "wet swab"),
        (("swab", "swab"), "service"),
        (("blower", "brush", "wet swab", "wet swab"), "service"),
        (("service",), "service"),
    ],
)
@pytest.mark.parametrize("kind", ["speck", "fibre", "unsure"])
def test_next_rung_after_what_was_done(kind: SpotKind, done: tuple[str, ...], method: str) -> None:
    verdict = verdict_on(spot(kind=kind), done=done)
    assert (verdict.level, verdict.method) == ("clean", method)


@pytest.mark.parametrize("kind", ["droplet", "smear"])
def test_wet_kinds_go_to_the_swab_at_once(kind: SpotKind) -> None:
    verdict = verdict_on(spot(1), spot(2, kind=kind))
    assert verdict.method == "wet swab"
    assert "1 droplet or smear shows: only a wet swab lifts that" in said(verdict)
    assert verdict.cautions[0].startswith("Blow loose dust off")


def test_a_droplet_that_does_not_show_changes_nothing() -> None:
    verdict = verdict_on(spot(1), spot(2, kind="droplet"), shows=(True, False))
    assert verdict.method == "blower"


def test_a_droplet_that_outlives_two_wet_passes_goes_to_service() -> None:
    verdict = verdict_on(spot(kind="droplet"), done=("wet swab", "wet swab"))
    assert verdict.method == "service"


def test_an_unknown_method_is_refused() -> None:
    with pytest.raises(SettingsError, match="'prayer'"):
        verdict_on(spot(), done=("prayer",))


# --- the ladder, from the past of each mark ---------------------------------------------------


def test_a_survivor_drives_the_method_up_and_its_past_is_told() -> None:
    old = MarkPast(times_seen=3, outlived=("blower", "wet swab"))
    verdict = verdict_on(
        spot(1, depth_at_f11=0.2), spot(2), past=PastPasses(marks=(old, MarkPast()))
    )
    assert verdict.method == "wet swab"
    assert "here for the third time and has outlived a blower and a wet swab" in said(verdict)
    assert "1 mark has outlived the blower and wet swab" in said(verdict)


def test_a_new_mark_starts_at_the_blower_whatever_was_done_before_it_came() -> None:
    past = PastPasses(marks=(MarkPast(times_seen=1),))
    assert verdict_on(spot(), done=("blower", "brush"), past=past).method == "blower"


def test_a_mark_of_unknown_past_goes_by_what_was_done() -> None:
    assert verdict_on(spot(), done=("blower",), past=PastPasses(marks=(None,))).method == "brush"


def test_one_mark_beyond_help_does_not_send_the_rest_to_service() -> None:
    stuck = MarkPast(times_seen=4, outlived=("wet swab", "wet swab"))
    past = PastPasses(marks=(stuck, MarkPast()))
    verdict = verdict_on(spot(1), spot(2), past=past)
    assert verdict.method == "blower"
    assert "1 mark has outlived all a swab can do" in said(verdict)
    assert "2 passes with a wet swab" in said(verdict)


# --- stop rules -----------------------------------------------------------------------------


def test_two_passes_without_effect_end_it() -> None:
    idle = PassOutcome(method="wet swab", n_stayed=3)
    verdict = verdict_on(spot(), done=("wet swab",), past=PastPasses(passes=(idle, idle)))
    assert verdict.method == "service"
    assert "Two wet passes in a row changed nothing" in said(verdict)


def test_two_dry_passes_without_effect_only_lead_to_the_swab() -> None:
    past = PastPasses(
        passes=(PassOutcome(method="blower", n_stayed=3), PassOutcome(method="brush", n_stayed=3))
    )
    verdict = verdict_on(spot(), done=("blower", "brush"), past=past)
    assert verdict.method == "wet swab"
    assert "Nothing changed with the brush." in said(verdict)


def test_two_wet_passes_that_brought_more_than_they_took_end_it() -> None:
    worse = PassOutcome(method="wet swab", n_gone=1, n_new=9)
    past = PastPasses(passes=(worse, worse), marks=(MarkPast(),))
    verdict = verdict_on(spot(), past=past)
    assert verdict.method == "service"
    assert "With two wet passes in a row more dirt came than went" in said(verdict)
    assert "take a new swab" not in said(verdict)
    assert "Nothing has been tried" not in said(verdict)


def test_what_a_wet_pass_brought_and_the_next_one_left_is_not_called_stuck() -> None:
    brought = PassOutcome(method="wet swab", n_stayed=2, n_new=3)
    idle = PassOutcome(method="wet swab", n_stayed=3)
    once = MarkPast(times_seen=2, outlived=("wet swab",))
    verdict = verdict_on(spot(), past=PastPasses(passes=(brought, idle), marks=(once,)))
    assert verdict.method == "wet swab"


@pytest.mark.parametrize(
    ("used", "advice"),
    [
        ("blower", "puff it into free air first, then blow with the mount facing down."),
        ("brush", "take a clean brush."),
        ("wet swab", "take a new swab."),
    ],
)
def test_dirt_that_came_asks_for_a_clean_tool_of_the_method_that_brought_it(
    used: Method, advice: str
) -> None:
    worse = PassOutcome(method=used, n_gone=1, n_new=9)
    # Whatever is next: the blower for what is new, the brush for what has outlived that.
    for mark, following in (
        (MarkPast(), "blower"),
        (MarkPast(times_seen=2, outlived=("blower",)), "brush"),
    ):
        verdict = verdict_on(spot(), past=PastPasses(passes=(worse,), marks=(mark,)))
        assert verdict.method == following
        assert f"with the {used} (9 new, 1 gone): it brought dirt in. The next time, {advice}" in (
            said(verdict)
        )
    served = MarkPast(times_seen=2, outlived=("service",))
    back = said(verdict_on(spot(), past=PastPasses(passes=(worse,), marks=(served,))))
    assert "brought dirt in." in back
    assert "next time" not in back


def test_more_marks_than_before_ask_for_a_new_swab_even_a_third_one() -> None:
    past = PastPasses(passes=(PassOutcome(method="wet swab", n_gone=1, n_new=9),))
    verdict = verdict_on(spot(), done=("wet swab", "wet swab"), past=past)
    assert verdict.method == "wet swab"
    assert "9 new, 1 gone" in said(verdict)
    assert "new swab" in said(verdict)
    three = ("wet swab",) * 3
    assert verdict_on(spot(), done=three, past=past).method == "service"


def test_streaks_ask_for_less_fluid() -> None:
    past = PastPasses(passes=(PassOutcome(method="wet swab", n_gone=4, has_streaks=True),))
    verdict = verdict_on(spot(kind="smear"), done=("wet swab", "wet swab"), past=past)
    assert verdict.method == "wet swab"
    assert "less fluid" in said(verdict)


def test_corners_left_by_a_swab_are_a_point_to_stop() -> None:
    corner = spot(place="lower right corner")
    assert "lies in corners" in said(verdict_on(corner, done=("wet swab",)))
    assert "lies in corners" not in said(verdict_on(corner, done=("brush",)))
    assert "lies in corners" not in said(verdict_on(corner, spot(2), done=("wet swab",)))


# --- every reason is true of all it speaks of ---------------------------------------------------


def test_marks_with_different_pasts_get_a_reason_each() -> None:
    wiped = MarkPast(times_seen=2, outlived=("wet swab",))
    marks = (wiped, MarkPast(), MarkPast(), MarkPast())
    droplets = [spot(number, kind="droplet") for number in (2, 3, 4)]
    verdict = verdict_on(spot(1), *droplets, past=PastPasses(marks=marks))
    assert verdict.method == "wet swab"
    assert "1 mark has outlived the wet swab: one more wet pass, with a new swab." in said(verdict)
    assert "3 droplets or smears show: only a wet swab lifts that" in said(verdict)
    assert "What shows has outlived" not in said(verdict)


def test_only_what_all_of_them_have_outlived_is_named() -> None:
    one = MarkPast(times_seen=3, outlived=("blower", "brush", "wet swab"))
    other = MarkPast(times_seen=2, outlived=("brush", "wet swab"))
    verdict = verdict_on(spot(1), spot(2), past=PastPasses(marks=(one, other)))
    assert "What shows has outlived the brush and wet swab: one more" in said(verdict)


def test_one_of_four_after_a_service_takes_no_other_back() -> None:
    served = MarkPast(times_seen=3, outlived=("service",))
    stuck = MarkPast(times_seen=3, outlived=("wet swab", "wet swab"))
    spots = [spot(number) for number in range(1, 5)]
    verdict = verdict_on(*spots, past=PastPasses(marks=(served, stuck, stuck, stuck)))
    assert verdict.method == "service"
    assert "1 mark has outlived a service: take the body back." in said(verdict)
    assert (
        "3 marks have outlived all that a wet swab can do: they are stuck, scratches or beneath "
        "the glass. Stop here and leave them to a service."
    ) in said(verdict)
    untried = verdict_on(*spots, past=PastPasses(marks=(served, *(MarkPast(),) * 3)))
    assert untried.method == "blower"
    assert "1 mark has outlived a service: take the body back if it disturbs you." in said(untried)
    assert "a swab can do" not in said(untried)


def test_what_shows_means_all_that_shows() -> None:
    beneath = spot(2, layer="inside")
    assert "1 mark has outlived the blower: it clings" in said(
        verdict_on(spot(1), beneath, done=("blower",))
    )
    assert "What shows has outlived the blower: it clings" in said(
        verdict_on(spot(1), spot(2), done=("blower",))
    )
    assert "2 marks have outlived the blower: they cling, so the brush is next." in said(
        verdict_on(spot(1), spot(3), beneath, done=("blower",))
    )


def test_streaks_are_a_matter_of_the_swab_and_of_the_pass_that_follows() -> None:
    past = PastPasses(
        passes=(PassOutcome(method="blower", n_gone=1, has_streaks=True),), marks=(MarkPast(),)
    )
    verdict = verdict_on(spot(), past=past)
    assert verdict.method == "blower"
    assert "Streaks came with the wet swab: there was too much fluid." in said(verdict)


def test_the_cameras_own_cleaning_comes_before_the_blower() -> None:
    assert "after the camera's own cleaning shake, if it has one, the blower" in said(
        verdict_on(spot())
    )


@pytest.mark.parametrize("is_showing", [True, False])
def test_shots_out_of_order_put_the_verdict_in_doubt(*, is_showing: bool) -> None:
    past = PastPasses(marks=(MarkPast(),), is_in_order=False)
    verdict = verdict_on(spot(), shows=(is_showing,), past=past)
    assert "By their times the shots were not taken in the order given" in verdict.reasons[-1]
    assert "By their times" not in said(verdict_on(spot(), shows=(is_showing,)))


def test_what_else_speaks_against_a_verdict_is_said() -> None:
    worse = PassOutcome(method="blower", n_gone=1, n_new=9)
    past = PastPasses(passes=(worse,), marks=(MarkPast(),), is_timed=False, is_one_body=False)
    *_, untimed, other_body = verdict_on(spot(), past=past).reasons
    assert "given in the wrong order" in untimed
    assert "not one mark in common" in other_body
    # That files tell no time is the rule with some cameras, and no ground to doubt what went.
    went = replace(worse, n_gone=9, n_new=1)
    assert "wrong order" not in said(verdict_on(spot(), past=replace(past, passes=(went,))))
