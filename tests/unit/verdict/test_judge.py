"""The verdict on one frame: what counts, and what is said."""

from dataclasses import replace

import pytest

from motemap.records import Counts, Layer, ShotCheck
from motemap.settings import WorkSettings
from motemap.verdict import PassOutcome, PastPasses, judge, said_again
from verdicts import AT_F11, SHOT, said, spot, verdict_on

# --- ready -----------------------------------------------------------------------------------


def test_no_mark_is_ready_without_cautions() -> None:
    counts, verdict = judge((), shows=(), work=AT_F11, shot=SHOT)
    assert counts == Counts(found=0, showing=0)
    assert (verdict.level, verdict.method, verdict.cautions) == ("ready", "none", ())
    assert verdict.reasons == ("No mark was found on the sensor: nothing would show at f/11.",)


def test_marks_that_do_not_show_are_ready_and_said_so() -> None:
    counts, verdict = judge(
        (replace(spot(1), shows_from_f=16.0), replace(spot(2), shows_from_f=13.0)),
        shows=(False, False),
        work=AT_F11,
        shot=SHOT,
    )
    assert counts == Counts(found=2, showing=0)
    assert verdict.level == "ready"
    assert verdict.reasons == (
        "2 marks were found on the sensor, none of which would show at f/11.",
        "The first would show at f/13.",
    )


def test_after_a_cleaning_ready_means_stop() -> None:
    assert "Stop here" in said(verdict_on(spot(), shows=(False,), done=("blower",)))
    past = PastPasses(passes=(PassOutcome(method="brush", n_gone=3),))
    assert "Stop here" in said(verdict_on(spot(), shows=(False,), past=past))
    assert "Stop here" not in said(verdict_on(spot(), shows=(False,)))


# --- what counts -----------------------------------------------------------------------------


def test_counts_hold_every_mark_and_every_one_that_shows() -> None:
    counts, verdict = judge(
        (spot(1), spot(2), spot(3, layer="lens side")),
        shows=(True, False, True),
        work=AT_F11,
        shot=SHOT,
    )
    assert counts == Counts(found=3, showing=2, showing_on_lens=1)
    assert counts.showing_on_sensor == 1
    assert verdict.reasons[0] == (
        "2 marks were found on the sensor, and 1 more from the lens side; 1 of the 2 would show "
        "at f/11 (taking 2 % of the light or more)."
    )
    assert "1 wide faint shadow comes from the lens side, and it would show; the" in said(verdict)


@pytest.mark.parametrize(
    ("n_showing", "n_quiet", "said_then"),
    [
        (0, 1, "; the one on the sensor would not show at f/11."),
        (0, 3, "; none of the 3 would show at f/11."),
        (1, 0, "; the one on the sensor would show at f/11 ("),
        (2, 0, "; both on the sensor would show at f/11 ("),
        (3, 0, "; all 3 on the sensor would show at f/11 ("),
        (2, 1, "; 2 of the 3 would show at f/11 ("),
    ],
)
def test_the_text_adds_up_to_the_counts(n_showing: int, n_quiet: int, said_then: str) -> None:
    layers: list[Layer] = ["lens side", "lens side"]
    layers[:0] = ["filter stack"] * (n_showing + n_quiet)
    spots = tuple(spot(number, layer=layer) for number, layer in enumerate(layers))
    shows = (True,) * n_showing + (False,) * (n_quiet + 2)
    counts, verdict = judge(spots, shows=shows, work=AT_F11, shot=SHOT)
    assert counts.found == n_showing + n_quiet + 2
    found = "1 mark was" if len(layers) == 3 else f"{len(layers) - 2} marks were"
    start = f"{found} found on the sensor, and 2 more from the lens side{said_then}"
    assert verdict.reasons[0].startswith(start)
    assert "2 wide faint shadows come from the lens side; the sensor" in said(verdict)
    one_more = (*shows[:-1], True)
    _, verdict = judge(spots, shows=one_more, work=AT_F11, shot=SHOT)
    assert "come from the lens side, and 1 of them would show; the sensor" in said(verdict)


def test_a_single_mark_that_does_not_show_is_said_in_the_singular() -> None:
    verdict = verdict_on(spot(), shows=(False,))
    assert verdict.reasons[0] == "1 mark was found on the sensor; it would not show at f/11."


@pytest.mark.parametrize(
    ("n_spots", "said_first"),
    [
        (1, "1 mark was found on the sensor, and it would show at f/11"),
        (3, "3 marks were found on the sensor, all of which would show at f/11"),
    ],
)
def test_all_that_was_found_shows(n_spots: int, said_first: str) -> None:
    verdict = verdict_on(*(spot(number) for number in range(n_spots)))
    assert verdict.reasons[0].startswith(said_first)


@pytest.mark.parametrize("is_showing", [False, True])
def test_without_a_forecast_nothing_is_said_of_another_aperture(*, is_showing: bool) -> None:
    blind = replace(spot(), depth_at=None, shows_from_f=None)
    alone = replace(SHOT, has_forecast=False)
    verdict = verdict_on(blind, shows=(is_showing,), shot=alone)
    assert "would show at the aperture of this shot" in verdict.reasons[0].replace(
        "not show", "show"
    )
    assert "f/11" not in verdict.reasons[0]
    assert "nothing would show at the aperture of this shot" in said(verdict_on(shot=alone))


def test_dirt_on_the_lens_counts_for_nothing_but_is_named() -> None:
    verdict = verdict_on(spot(layer="lens side"))
    assert verdict.level == "ready"
    assert "the sensor is not to blame" in said(verdict)


def test_what_lies_inside_calls_for_a_service_only_when_it_shows() -> None:
    shown = verdict_on(spot(layer="inside"))
    assert (shown.level, shown.method) == ("clean", "service")
    assert "no cleaning reaches beneath it" in said(shown)
    assert "outlived" not in said(shown)
    assert verdict_on(spot(layer="inside"), shows=(False,)).level == "ready"


def test_what_lies_inside_does_not_keep_the_rest_from_being_cleaned() -> None:
    verdict = verdict_on(spot(1, layer="inside"), spot(2))
    assert verdict.method == "blower"
    assert "no cleaning reaches beneath it" in said(verdict)


def test_an_unknown_layer_is_taken_for_the_filter_stack() -> None:
    assert verdict_on(spot(layer="unsure")).method == "blower"


# --- reshoot ---------------------------------------------------------------------------------


def test_an_unfit_frame_is_shot_again_for_the_reasons_of_its_checks() -> None:
    dark = ShotCheck(
        name="brightness",
        value=0.02,
        wanted="bright",
        outcome="fail",
        advice="Give two stops more.",
    )
    mute = ShotCheck(name="aperture", value=4.0, wanted="f/16 or narrower", outcome="fail")
    counts, verdict = judge(
        (spot(),), shows=(True,), work=AT_F11, shot=replace(SHOT, failed=(dark, mute))
    )
    assert counts == Counts(found=1, showing=1)
    assert (verdict.level, verdict.method, verdict.cautions) == ("reshoot", "none", ())
    assert verdict.reasons == (
        "Give two stops more.",
        "The check 'aperture' failed: f/16 or narrower is wanted.",
        "1 mark was found all the same, but others may be hidden.",
    )


# --- what is said -----------------------------------------------------------------------------


def test_the_worst_is_the_one_that_takes_most_at_the_working_aperture() -> None:
    fibre = replace(
        spot(2, kind="fibre", depth_at_f11=0.12, place="right edge"),
        from_left_mm=35.25,
        from_top_mm=12.0,
        length_um=410.0,
        particle_um=14.6,
        shows_from_f=2.8,
    )
    verdict = verdict_on(replace(spot(1), depth_frac=0.6), fibre)
    assert verdict.reasons[1] == (
        "The worst, a fibre about 15 um wide and 410 um long, lies at the right edge, 35.2 mm "
        "from the left and 12.0 mm from the top; it shows from f/2.8 on."
    )


def test_without_a_forecast_or_a_place_it_says_what_it_knows() -> None:
    bare = replace(
        spot(),
        kind="unsure",
        from_left_mm=None,
        from_top_mm=None,
        place=None,
        particle_um=None,
        shows_from_f=None,
        depth_at=None,
    )
    assert verdict_on(bare).reasons[1] == (
        "The worst, a mark, lies in the picture at column 1000, row 500."
    )


def test_every_cleaning_comes_with_cautions_the_manual_last_and_the_swab_before_it() -> None:
    verdict = verdict_on(spot(), done=("brush",))
    assert "manual" in verdict.cautions[-1]
    assert verdict.cautions[-2].startswith("Swab size: about 24 mm wide for full frame")
    blow = verdict_on(spot())
    assert blow.cautions[-2].startswith("Should a swab be needed later: about 24 mm")
    service = verdict_on(spot(), done=("service",))
    assert service.cautions
    assert not any("wide" in caution for caution in service.cautions)


@pytest.mark.parametrize("shows", [(), (True,), (True, True, True)])
def test_misaligned_forecasts_are_a_fault(shows: tuple[bool, ...]) -> None:
    with pytest.raises(ValueError, match="argument"):
        judge((spot(1), spot(2)), shows=shows, work=AT_F11, shot=SHOT)


def test_misaligned_past_is_a_fault() -> None:
    with pytest.raises(ValueError, match="argument"):
        verdict_on(spot(1), spot(2), past=PastPasses(marks=(None,)))


@pytest.mark.parametrize(("length_um", "is_said"), [(1000.0, False), (1300.0, True)])
def test_a_shadow_that_is_not_round_may_be_a_film_all_the_same(
    *, length_um: float, is_said: bool
) -> None:
    wide = replace(spot(layer="lens side"), width_um=1000.0, length_um=length_um)
    assert ("with another lens" in said(verdict_on(wide))) is is_said
    assert "with another lens" not in said(verdict_on(wide, shows=(False,)))


def test_the_worst_is_named_by_its_depth_at_the_very_aperture() -> None:
    speck = replace(spot(1), depth_frac=0.8, depth_at={"2.8": 0.018, "3.2": 0.025, "4": 0.04})
    fibre = replace(spot(2, kind="fibre"), depth_at={"2.8": 0.022, "3.2": 0.026, "4": 0.03})
    for shoot_at_f, name in ((3.2, "The worst, a fibre"), (4.0, "The worst, a speck")):
        _, verdict = judge(
            (speck, fibre),
            shows=(True, True),
            work=WorkSettings(shoot_at_f=shoot_at_f),
            shot=SHOT,
        )
        assert name in said(verdict)


def test_a_sentence_that_places_a_mark_can_be_said_again() -> None:
    verdict = verdict_on(spot(1), spot(2, depth_at_f11=0.3))
    moved = replace(spot(2), from_left_mm=1.0, place="left edge")
    again = said_again(verdict, [spot(1), moved])
    assert "in the upper left, 12.4 mm from the left and 3.1 mm from the top" in said(verdict)
    assert "at the left edge, 1.0 mm from the left and 3.1 mm from the top" in said(again)
    assert said_again(again, [spot(1), spot(2)]) == verdict
    ready = verdict_on(spot(1), shows=(False,))
    assert said_again(ready, [moved]) is ready
