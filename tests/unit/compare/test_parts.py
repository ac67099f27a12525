"""The parts of a comparison: who could see what, how sizes compare, who moved."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from motemap.compare.absent import absent_after
from motemap.compare.crowd import are_parted
from motemap.compare.moved import SizeGaps, find_movers
from motemap.compare.reasons import HIDDEN
from motemap.compare.strength import Yardstick, strength, yardstick
from motemap.compare.two import lay_over
from motemap.compare.visible import miss_chance
from motemap.records import FrameReport, Spot, SpotKind
from sequences import Shot, report_of, spot

PLAIN = Shot()


@pytest.mark.parametrize(
    ("one", "two", "is_same"),
    [(22.0, 22.6, True), (22.0, 20.0, False), (16.0, 22.0, False), (11.0, 11.3, True)],
)
def test_nominal_and_exact_apertures_are_the_same(one: float, two: float, *, is_same: bool) -> None:
    states = lay_over(report_of([], Shot(f_number=one)), report_of([], Shot(f_number=two)))
    assert states.apertures.is_same is is_same


def chances(seen: FrameReport, other: FrameReport) -> NDArray[np.float64]:
    return miss_chance(seen, other, lay_over(seen, other).apertures)


def test_a_mark_right_at_the_limit_is_missed_once_in_ten() -> None:
    # Free of errors of its own: a signal to noise beyond doubt, and the same depth.
    mark = spot(1, 500, 600, shot=PLAIN, depth_frac=PLAIN.limit_frac, snr=1e9)
    chance = chances(report_of([mark], PLAIN), report_of([], PLAIN))[0]
    # The depth's own 8 % error widens the exact 0.100.
    assert chance == pytest.approx(0.10, abs=0.035)


def test_the_deeper_the_less_likely_missed() -> None:
    depths = [0.002, 0.004, 0.006, 0.01, 0.1]
    marks = [spot(n, 50.0 * n, 60, shot=PLAIN, depth_frac=d) for n, d in enumerate(depths)]
    chance = chances(report_of(marks, PLAIN), report_of([], PLAIN))
    assert np.all(np.diff(chance) < 0)
    assert chance[0] > 0.9
    assert chance[-1] < 1e-4


def test_a_fibre_at_another_aperture_goes_by_its_depth() -> None:
    # Depth of a fibre goes with the f-number: 4 % at f/22 are 2 % at f/11.
    fibre = spot(1, 500, 600, shot=PLAIN, kind="fibre", depth_frac=0.04, particle_um=5.0, snr=1e9)
    other = Shot(f_number=11.0, limit_frac=0.02)
    chance = chances(report_of([fibre], PLAIN), report_of([], other))[0]
    assert 0.1 < chance < 0.35


def table(ratio: float, n_marks: int = 12, two: Shot = PLAIN) -> tuple[list[Spot], list[Spot]]:
    sizes = np.linspace(15.0, 40.0, n_marks)
    places = [(400.0 * n + 200, 250.0 * n + 90) for n in range(n_marks)]
    before = [
        spot(n, *place, shot=PLAIN, particle_um=float(size), depth_frac=0.2)
        for n, (place, size) in enumerate(zip(places, sizes, strict=True), start=1)
    ]
    after = [
        spot(n, *place, shot=two, particle_um=float(size) * ratio, depth_frac=0.2 * ratio**2)
        for n, (place, size) in enumerate(zip(places, sizes, strict=True), start=1)
    ]
    return before, after


def test_a_film_wider_than_the_blur_disc_is_no_deeper_at_a_narrower_aperture() -> None:
    wide = Shot(f_number=16.0)
    film = spot(
        1,
        500,
        600,
        shot=wide,
        kind="droplet",
        depth_frac=0.005,
        particle_um=50.0,
        depth_at={"16": 0.005, "22": 0.005},
    )
    speck = replace(film, id=2, image_y_px=900.0, kind="speck")
    seen = report_of([film, speck], wide)
    by_depth, by_size = chances(seen, report_of([], PLAIN))
    assert by_depth > 0.02
    assert by_size < 0.001


@pytest.mark.parametrize("f_number", [1.8, 29.0])
def test_a_forecast_reaches_beyond_the_apertures_that_it_lists(f_number: float) -> None:
    flat = {"2.8": 0.03, "11": 0.03, "22": 0.03}
    film = spot(1, 500, 600, shot=PLAIN, kind="droplet", depth_frac=0.03, depth_at=flat)
    seen = report_of([replace(film, snr=1e9)], PLAIN)
    missed = chances(seen, report_of([], Shot(f_number=f_number, limit_frac=0.03)))[0]
    within = chances(seen, report_of([], Shot(f_number=11.0, limit_frac=0.03)))[0]
    assert missed == pytest.approx(within)


def test_a_size_ratio_that_all_share_is_laid_to_the_frames() -> None:
    picture = Shot(kind="jpeg")
    before, after = table(0.8, two=picture)
    states = lay_over(report_of(before, PLAIN), report_of(after, picture))
    measure = yardstick(states, states.pairs)
    assert measure.bias == pytest.approx(math.log(0.8))
    assert not strength(states, states.pairs, measure).is_weaker.any()


def test_between_like_frames_no_ratio_is_explained_away() -> None:
    before, after = table(0.5)
    states = lay_over(report_of(before, PLAIN), report_of(after, PLAIN))
    assert yardstick(states, states.pairs).bias == 0.0
    change = strength(states, states.pairs, Yardstick())
    assert change.log_ratio == pytest.approx(math.log(0.5))
    assert change.is_weaker.all()


def test_frames_that_repeat_well_are_trusted_more() -> None:
    before, after = table(1.0)
    states = lay_over(report_of(before, PLAIN), report_of(after, PLAIN))
    assert yardstick(states, states.pairs).error_factor == pytest.approx(0.1)


def test_drops_tell_nothing_of_how_well_frames_repeat() -> None:
    narrow = Shot(f_number=16.0)
    before, after = table(1.0, two=narrow, n_marks=20)
    scatter = np.random.default_rng(5).normal(0.0, 0.15, 20)
    kinds: list[SpotKind] = ["speck" if n < 8 else "droplet" for n in range(20)]
    before = [replace(one, kind=kind) for one, kind in zip(before, kinds, strict=True)]
    after = [
        spot(
            one.id,
            one.image_x_px,
            one.image_y_px,
            shot=narrow,
            kind=kind,
            particle_um=(one.particle_um or 0.0) * math.exp(error),
        )
        for one, kind, error in zip(after, kinds, scatter.tolist(), strict=True)
    ]
    states = lay_over(report_of(before, PLAIN), report_of(after, narrow))
    assert 0.5 < yardstick(states, states.pairs).error_factor <= 1.5
    few = lay_over(report_of(before[1:], PLAIN), report_of(after[1:], narrow))
    assert yardstick(few, few.pairs).error_factor == 1.0


def gaps(log_ratio: float, error: float) -> SizeGaps:
    return SizeGaps(log_ratio=np.array([[log_ratio]]), error=np.array([[error]]))


def test_a_rare_size_names_a_mover_and_a_common_one_does_not() -> None:
    common = [spot(n, 10.0 * n, 20, shot=PLAIN, particle_um=15.0) for n in range(30)]
    small = spot(40, 10, 20, shot=PLAIN, particle_um=15.0)
    large = spot(41, 10, 20, shot=PLAIN, particle_um=150.0)
    pool = (*common, small, large, large)
    assert not any(
        mover.is_sure for mover in find_movers((small,), (small,), pool, gaps(0.0, 0.06))
    )
    found = find_movers((large,), (large,), pool, gaps(0.0, 0.06))
    assert [(mover.went, mover.came, mover.is_sure) for mover in found] == [(0, 0, True)]


def test_a_size_a_fifth_apart_is_no_mover() -> None:
    large = spot(41, 10, 20, shot=PLAIN, particle_um=150.0)
    assert find_movers((large,), (large,), (large, large), gaps(0.19, 0.2)) == ()


def test_a_fibre_does_not_turn_into_a_speck() -> None:
    fibre = spot(1, 10, 20, shot=PLAIN, kind="fibre", particle_um=150.0, length_um=900.0)
    speck = spot(2, 10, 20, shot=PLAIN, particle_um=150.0)
    assert find_movers((fibre,), (speck,), (fibre, speck), gaps(0.0, 0.06)) == ()


def test_the_length_of_a_fibre_helps_to_know_it() -> None:
    one = spot(1, 10, 20, shot=PLAIN, kind="fibre", particle_um=15.0, length_um=900.0)
    like = spot(2, 10, 20, shot=PLAIN, kind="fibre", particle_um=15.0, length_um=910.0)
    other = spot(2, 10, 20, shot=PLAIN, kind="fibre", particle_um=15.0, length_um=300.0)
    pool = tuple(spot(n, 9.0 * n, 20, shot=PLAIN, particle_um=40.0) for n in range(5, 15))
    (found,) = find_movers((one,), (like,), (*pool, one, like), gaps(0.0, 0.06))
    assert found.is_sure
    assert find_movers((one,), (other,), (*pool, one, other), gaps(0.0, 0.06)) == ()


def test_a_pair_beside_a_wide_mark_that_is_absent_is_parted() -> None:
    stays = [spot(n, 700.0 * n, 300.0 * n + 77, shot=PLAIN) for n in range(1, 7)]
    speck = spot(7, 4000, 3000, shot=PLAIN, particle_um=24.0)
    smaller = replace(speck, particle_um=11.0, lost_area_um2=None)
    wide = replace(speck, id=8, image_x_px=4100.0, kind="droplet", length_um=1500.0)
    for reach_um, is_parted in ((1500.0, True), (300.0, False)):
        film = replace(wide, length_um=reach_um, width_um=reach_um)
        states = lay_over(
            report_of([*stays, speck, film], PLAIN), report_of([*stays, smaller], PLAIN)
        )
        assert bool(are_parted(states)[-1]) is is_parted
        hidden = absent_after(states)[7].doubt == HIDDEN
        assert hidden is is_parted
