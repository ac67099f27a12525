"""The verdict on one frame: what counts, which method, and what is said."""

from dataclasses import replace

import pytest

from motemap.errors import SettingsError
from motemap.records import Counts, Layer, Sensor, ShotCheck, Spot, SpotKind, Verdict
from motemap.settings import WorkSettings
from motemap.verdict import MarkPast, PassOutcome, PastPasses, judge

FULL_FRAME = Sensor(
    format="full frame", width_mm=36.0, height_mm=24.0, pitch_um=6.0, source="metadata"
)
AT_F11 = WorkSettings(shoot_at_f=11.0)


def spot(
    number: int = 1,
    *,
    kind: SpotKind = "speck",
    layer: Layer = "filter stack",
    depth_at_f11: float = 0.05,
    place: str = "upper left",
) -> Spot:
    return Spot(
        id=number,
        image_x_px=1000.0,
        image_y_px=500.0,
        from_left_mm=12.4,
        from_top_mm=3.1,
        place=place,
        depth_frac=0.2,
        snr=40.0,
        width_um=60.0,
        length_um=60.0,
        lost_area_um2=700.0,
        particle_um=29.9,
        kind=kind,
        layer=layer,
        shows_from_f=5.6,
        depth_at={"11": depth_at_f11},
    )


def verdict_on(
    *spots: Spot,
    shows: tuple[bool, ...] | None = None,
    done: tuple[str, ...] = (),
    past: PastPasses | None = None,
) -> Verdict:
    _, verdict = judge(
        spots,
        shows=shows if shows is not None else (True,) * len(spots),
        work=replace(AT_F11, done=done),
        sensor=FULL_FRAME,
        past=past,
    )
    return verdict


def said(verdict: Verdict) -> str:
    return " ".join(verdict.reasons)


# --- ready -----------------------------------------------------------------------------------


def test_no_mark_is_ready_without_cautions() -> None:
    counts, verdict = judge((), shows=(), work=AT_F11, sensor=FULL_FRAME)
    assert counts == Counts(found=0, showing=0)
    assert (verdict.level, verdict.method, verdict.cautions) == ("ready", "none", ())
    assert verdict.reasons == ("No mark was found on the sensor: nothing would show at f/11.",)


def test_marks_that_do_not_show_are_ready_and_said_so() -> None:
    counts, verdict = judge(
        (replace(spot(1), shows_from_f=16.0), replace(spot(2), shows_from_f=13.0)),
        shows=(False, False),
        work=AT_F11,
        sensor=FULL_FRAME,
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
        sensor=FULL_FRAME,
    )
    assert counts == Counts(found=3, showing=2)
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
    counts, verdict = judge(spots, shows=shows, work=AT_F11, sensor=FULL_FRAME)
    assert counts.found == n_showing + n_quiet + 2
    found = "1 mark was" if len(layers) == 3 else f"{len(layers) - 2} marks were"
    start = f"{found} found on the sensor, and 2 more from the lens side{said_then}"
    assert verdict.reasons[0].startswith(start)
    assert "2 wide faint shadows come from the lens side; the sensor" in said(verdict)
    one_more = (*shows[:-1], True)
    _, verdict = judge(spots, shows=one_more, work=AT_F11, sensor=FULL_FRAME)
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
        (spot(),), shows=(True,), work=AT_F11, sensor=FULL_FRAME, shot_failed=(dark, mute)
    )
    assert counts == Counts(found=1, showing=1)
    assert (verdict.level, verdict.method, verdict.cautions) == ("reshoot", "none", ())
    assert verdict.reasons == (
        "Give two stops more.",
        "The check 'aperture' failed: f/16 or narrower is wanted.",
        "1 mark was found all the same, but others may be hidden.",
    )


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
    assert "Two passes in a row changed nothing" in said(verdict)


def test_two_dry_passes_without_effect_only_lead_to_the_swab() -> None:
    past = PastPasses(
        passes=(PassOutcome(method="blower", n_stayed=3), PassOutcome(method="brush", n_stayed=3))
    )
    verdict = verdict_on(spot(), done=("blower", "brush"), past=past)
    assert verdict.method == "wet swab"
    assert "Nothing changed with the brush." in said(verdict)


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
        judge((spot(1), spot(2)), shows=shows, work=AT_F11, sensor=FULL_FRAME)


def test_misaligned_past_is_a_fault() -> None:
    with pytest.raises(ValueError, match="argument"):
        verdict_on(spot(1), spot(2), past=PastPasses(marks=(None,)))
