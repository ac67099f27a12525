"""Fates of marks in hand-made states."""

import re
from dataclasses import replace

import pytest

from motemap.changes import FATES, StateChange
from motemap.compare import compare_states
from motemap.compare.reasons import gone_reason, new_reason
from motemap.errors import GeometryError
from motemap.records import FrameReport, Sensitivity, Spot, SpotKind
from sequences import BODY, Shot, report_of, spot

PLAIN = Shot()
# Five marks that stay hold the frames together; the sixth is the one in question.
STAY = [
    spot(n, 700.0 * n, 300.0 * n + 77, shot=PLAIN, depth_frac=0.1 + 0.02 * n) for n in range(1, 6)
]


def state(*spots: Spot, shot: Shot = PLAIN, file: str = "state") -> FrameReport:
    return report_of([*STAY, *spots], shot, file)


def fate(change: StateChange, before_id: int | None, after_id: int | None) -> tuple[str, str]:
    found = [m for m in change.marks if (m.before_id, m.after_id) == (before_id, after_id)]
    assert len(found) == 1
    return found[0].fate, found[0].reasons[0]


def test_nothing_changed() -> None:
    change = compare_states(state(file="a"), state(file="b"))
    assert (change.before, change.after) == ("a", "b")
    assert change.counts == {**dict.fromkeys(FATES, 0), "stayed": 5}
    assert {mark.reasons for mark in change.marks} == {("same place, same size",)}
    assert [(mark.before_id, mark.after_id) for mark in change.marks] == [
        (n, n) for n in range(1, 6)
    ]


def test_gone_and_new() -> None:
    change = compare_states(
        state(spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.03)),
        state(spot(6, 200, 3500, shot=PLAIN, depth_frac=0.3)),
    )
    assert fate(change, 6, None) == ("gone", "would show at f/22, and is not there")
    assert fate(change, None, 6) == ("new", "would have shown before at f/22, and was not there")


def dusty(*spots: Spot, n_clear: int, limit_frac: float = 0.004) -> FrameReport:
    """Return a state with clear marks in a row of their own besides."""
    shot = replace(PLAIN, limit_frac=limit_frac)
    clear = [spot(20 + n, 170.0 * n, 2500.0, shot=shot, depth_frac=0.3) for n in range(1, n_clear)]
    return state(*clear, *spots, shot=shot)


def test_a_mark_too_faint_for_the_other_frame_is_gone_with_the_others_and_said_to_be() -> None:
    faint = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.038)
    change = compare_states(dusty(faint, n_clear=31), dusty(n_clear=1, limit_frac=0.042))
    assert fate(change, 6, None) == (
        "gone",
        "f/22 may miss marks so faint, but 30 of 35 clearer ones went too",
    )
    assert fate(change, 21, None) == ("gone", "would show at f/22, and is not there")


def test_a_mark_too_faint_for_the_frame_before_is_new_with_the_others_and_said_to_be() -> None:
    faint = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.038)
    change = compare_states(dusty(n_clear=1, limit_frac=0.042), dusty(faint, n_clear=31))
    assert fate(change, None, 6) == (
        "new",
        "f/22 may have missed a mark so faint before, but 30 of 35 clearer ones came too",
    )


@pytest.mark.parametrize(
    ("others", "said"),
    [((1, 1), "the only clearer one"), ((7, 7), "all 7 clearer ones"), ((6, 7), "6 of 7 clearer")],
)
def test_the_others_are_counted_in_words(others: tuple[int, int], said: str) -> None:
    assert said in gone_reason(state(), others)
    assert said in new_reason(state(), others)


def test_a_mark_of_half_the_size_is_weaker() -> None:
    change = compare_states(
        state(spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.2, particle_um=24.0)),
        state(spot(6, 4001, 3000, shot=PLAIN, depth_frac=0.05, particle_um=12.0)),
    )
    assert fate(change, 6, 6) == ("weaker", "same place, 50 % smaller")


def fibre(depth_frac: float, width_um: float, length_um: float) -> Spot:
    return spot(
        6,
        4000,
        3000,
        shot=PLAIN,
        kind="fibre",
        depth_frac=depth_frac,
        particle_um=width_um,
        length_um=length_um,
    )


@pytest.mark.parametrize(
    ("left_frac", "word"), [(0.64, "stayed"), (0.55, "stayed"), (0.4, "weaker"), (0.25, "weaker")]
)
def test_a_fibre_is_weaker_when_half_of_its_light_is_back_whichever_way(
    left_frac: float, word: str
) -> None:
    whole = state(fibre(0.2, 10.0, 800.0))
    thinner = state(fibre(0.2 * left_frac, 10.0 * left_frac, 800.0))
    assert fate(compare_states(whole, thinner), 6, 6)[0] == word
    shorter = state(fibre(0.2, 10.0, 800.0 * left_frac))
    assert fate(compare_states(whole, shorter), 6, 6)[0] == word


def test_a_fibre_called_a_speck_next_time_goes_by_its_light() -> None:
    # 800 x 10 um take the light of a disc of 100.9 um, at another depth than a fibre's.
    speck = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.06, particle_um=100.9)
    change = compare_states(state(fibre(0.2, 10.0, 800.0)), state(speck))
    assert fate(change, 6, 6) == ("stayed", "same place, same size")


def test_a_mark_that_grew_stayed() -> None:
    change = compare_states(
        state(spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.05, particle_um=12.0)),
        state(spot(6, 4001, 3000, shot=PLAIN, depth_frac=0.2, particle_um=24.0)),
    )
    assert fate(change, 6, 6) == ("stayed", "same place, measured 100 % larger")


def test_what_the_second_frame_could_not_show_is_undecided() -> None:
    faint = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.01)
    coarse = replace(PLAIN, limit_frac=0.02)
    change = compare_states(state(faint), state(shot=coarse))
    assert fate(change, 6, None) == ("undecided", "too faint for the other frame to be sure")


def test_what_the_first_frame_could_not_show_is_not_new() -> None:
    faint = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.01)
    coarse = replace(PLAIN, limit_frac=0.02)
    change = compare_states(state(shot=coarse), state(faint))
    assert fate(change, None, 6) == ("undecided", "too faint for the other frame to be sure")


def test_with_an_unknown_sensitivity_nothing_is_gone() -> None:
    blind = replace(state(), sensitivity=Sensitivity())
    change = compare_states(state(spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.3)), blind)
    assert fate(change, 6, None)[0] == "undecided"


def test_other_apertures_are_compared_by_size() -> None:
    # 30 um: deep at f/22, faint at f/8; f/8 shows particles from 25 um on, none from 40 um.
    shot = Shot(f_number=8.0)
    mark = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.3, particle_um=30.0)
    fine = replace(
        state(shot=shot),
        sensitivity=Sensitivity(smallest_depth_frac=0.02, smallest_particle_um=12.0),
    )
    coarse = replace(
        fine, sensitivity=Sensitivity(smallest_depth_frac=0.02, smallest_particle_um=40.0)
    )
    assert fate(compare_states(state(mark), fine), 6, None)[0] == "gone"
    change = compare_states(state(mark), coarse)
    assert fate(change, 6, None)[0] == "undecided"
    assert change.notes[0] == ("shot at f/22 and f/8: compared by particle size, not by depth")


def test_a_mark_outside_the_other_picture_is_undecided() -> None:
    shifted = [replace(each, image_x_px=each.image_x_px - 20.0) for each in (*STAY,)]
    edge = spot(6, 8, 2000, shot=PLAIN, depth_frac=0.3)
    change = compare_states(state(edge), report_of(shifted, PLAIN))
    assert change.registration.shift_x_px == pytest.approx(-20.0, abs=0.05)
    assert fate(change, 6, None) == ("undecided", "lies outside the other picture")


def test_a_mark_in_the_shadow_of_another_is_undecided() -> None:
    big = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.9, particle_um=400.0)
    beside = spot(7, 4020, 3000, shot=PLAIN, depth_frac=0.05)
    change = compare_states(state(big, beside), state(big))
    assert fate(change, 7, None) == ("undecided", "would lie in the shadow of another mark")


def test_a_mark_on_the_lens_tells_nothing() -> None:
    lens = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.05, layer="lens side")
    change = compare_states(state(lens), state())
    assert fate(change, 6, None) == (
        "undecided",
        "lies on the lens: it tells nothing of the sensor",
    )


def test_a_rare_mark_that_turns_up_elsewhere_moved() -> None:
    here = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.45, particle_um=110.0)
    there = spot(6, 900, 3500, shot=PLAIN, depth_frac=0.45, particle_um=112.0)
    change = compare_states(state(here), state(there))
    word, reason = fate(change, 6, 6)
    assert word == "moved"
    # 3100 x 500 px of 6 um are 18.84 mm.
    assert reason.startswith("18.8 mm away: same size, chance match unlikely")
    assert change.counts["gone"] == change.counts["new"] == 0


def test_a_mark_that_perhaps_moved_is_gone_and_new_and_both_say_so() -> None:
    here = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.2, particle_um=20.0)
    there = spot(7, 900, 3500, shot=PLAIN, depth_frac=0.2, particle_um=20.0)
    change = compare_states(state(here), state(there))
    told = {mark.fate: mark.reasons for mark in change.marks if mark.fate != "stayed"}
    assert set(told) == {"gone", "new"}
    went, whither = told["gone"]
    came, whence = told["new"]
    assert went == "would show at f/22, and is not there"
    assert came == "would have shown before at f/22, and was not there"
    assert re.fullmatch(
        r"may have moved to where number 7 came \([5-9]\d %, by its size\)", whither
    )
    assert re.fullmatch(r"may be number 6 of before, moved \([5-9]\d %, by its size\)", whence)


def test_common_sizes_are_not_said_to_have_moved() -> None:
    went = [spot(6 + n, 400.0 * n + 90, 3800, shot=PLAIN, depth_frac=0.1) for n in range(5)]
    came = [spot(6 + n, 350.0 * n + 90, 100, shot=PLAIN, depth_frac=0.1) for n in range(5)]
    change = compare_states(state(*went), state(*came))
    assert (change.counts["gone"], change.counts["new"], change.counts["moved"]) == (5, 5, 0)


def test_one_of_many_like_it_is_not_said_to_have_moved_perhaps() -> None:
    went = [spot(6 + n, 400.0 * n + 90, 3800, shot=PLAIN, depth_frac=0.1) for n in range(5)]
    came = spot(6, 350, 100, shot=PLAIN, depth_frac=0.1)
    change = compare_states(state(*went), state(came))
    unpaired = [mark for mark in change.marks if mark.fate in {"gone", "new"}]
    assert [len(mark.reasons) for mark in unpaired] == [1] * (len(went) + 1)


def test_another_body_or_size_is_refused_with_what_to_do() -> None:
    other = report_of(STAY, PLAIN, "other.dng", camera=replace(BODY, serial="K-99999"))
    with pytest.raises(GeometryError, match="different bodies") as caught:
        compare_states(state(), other)
    assert caught.value.path == "other.dng"
    with pytest.raises(GeometryError, match="differ in size"):
        compare_states(state(), report_of([], Shot(width_px=3000, height_px=2000)))


def test_an_unknown_serial_is_said() -> None:
    nameless = report_of(STAY, PLAIN, camera=replace(BODY, serial=None))
    assert compare_states(nameless, state()).notes == ("no serial number: taken to be one body",)


def test_without_a_serial_nothing_in_common_may_mean_two_bodies() -> None:
    nameless = report_of(STAY, PLAIN, camera=replace(BODY, serial=None))
    others = [spot(n, 600.0 * n, 3900.0 - 431 * n, shot=PLAIN, depth_frac=0.2) for n in range(1, 5)]
    change = compare_states(nameless, report_of(others, PLAIN))
    assert change.notes == ("no serial number: taken to be one body, though no mark is in both",)
    few = compare_states(nameless, report_of(others[:1], PLAIN))
    assert few.notes == ("no serial number: taken to be one body",)


def test_that_a_mark_is_absent_is_no_evidence_of_what_became_of_it() -> None:
    # Of 36 clear marks one that is twice as deep as the limit is not found: rather overlooked.
    faint = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.008)
    change = compare_states(dusty(faint, n_clear=31), dusty(n_clear=31))
    assert fate(change, 6, None) == ("undecided", "too faint for the other frame to be sure")
    deeper = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.016)
    change = compare_states(dusty(deeper, n_clear=31), dusty(n_clear=31))
    assert fate(change, 6, None)[0] == "gone"


@pytest.mark.parametrize(("apart_px", "word"), [(9.0, "undecided"), (25.0, "new")])
def test_two_shadows_that_run_together_are_found_as_one(apart_px: float, word: str) -> None:
    # Each is as wide as the blur disc, 9.1 px.
    large = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.5)
    small = spot(7, 4000 + apart_px, 3000, shot=PLAIN, depth_frac=0.1)
    change = compare_states(state(large), state(large, small))
    assert fate(change, None, 7)[0] == word


def test_what_one_frame_sees_as_one_and_the_other_as_two_is_not_called_weaker() -> None:
    whole = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.3, length_um=200.0)
    part = spot(6, 4002, 3000, shot=PLAIN, depth_frac=0.1)
    rest = spot(7, 3985, 3000, shot=PLAIN, depth_frac=0.1)
    found = compare_states(state(whole), state(part, rest))
    word, _ = fate(found, 6, 6)
    assert word == "stayed"
    assert fate(found, None, 7)[0] == "undecided"
    # Without the rest beside it, it is weaker.
    assert fate(compare_states(state(whole), state(part)), 6, 6)[0] == "weaker"


def test_a_long_film_goes_by_its_light_whatever_it_is_called() -> None:
    fibre_like = spot(
        6, 4000, 3000, shot=PLAIN, kind="fibre", depth_frac=0.21, particle_um=49.0, length_um=855.0
    )
    film = replace(
        fibre_like, kind="smear", particle_um=54.0, length_um=778.0, lost_area_um2=54.0 * 778.0
    )
    assert fate(compare_states(state(fibre_like), state(film)), 6, 6)[0] == "stayed"


@pytest.mark.parametrize(("kind", "word"), [("speck", "weaker"), ("droplet", "stayed")])
def test_drops_bend_light_another_way_at_another_aperture(kind: SpotKind, word: str) -> None:
    wide = Shot(f_number=16.0)
    stay = [
        spot(n, 700.0 * n, 300.0 * n + 77, shot=wide, particle_um=one.particle_um)
        for n, one in enumerate(STAY, start=1)
    ]
    before = spot(6, 4000, 3000, shot=PLAIN, kind=kind, particle_um=40.0)
    after = spot(6, 4000, 3000, shot=wide, kind=kind, particle_um=22.0)
    change = compare_states(report_of([*STAY, before], PLAIN), report_of([*stay, after], wide))
    assert fate(change, 6, 6)[0] == word


def test_all_gone_needs_no_registration() -> None:
    change = compare_states(state(), report_of([], PLAIN))
    assert change.registration.scale is None
    assert change.counts == {**dict.fromkeys(FATES, 0), "gone": 5}


def test_the_methods_used_are_kept() -> None:
    assert compare_states(state(), state(), done=("blower",)).done == ("blower",)
