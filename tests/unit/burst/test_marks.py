"""Spot lists of one state, voted on."""

import math
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pytest

from motemap.burst import combine_reports
from motemap.errors import GeometryError
from motemap.records import FrameReport, ShotCheck, Spot, Stack
from motemap.settings import WorkSettings
from motemap.showing import depth_of, shows
from sequences import BODY, Shot, draw_dust, list_spots, report_of, spot

PLAIN = Shot()
WORK = WorkSettings()
combine = partial(combine_reports, work=WORK)
STAY = [spot(n, 700.0 * n, 300.0 * n + 77, shot=PLAIN) for n in range(1, 6)]


def frame(*spots: Spot, **changes: Any) -> FrameReport:
    return report_of([*STAY, *spots], PLAIN, **changes)


def places(report: FrameReport) -> list[tuple[float, float]]:
    return sorted((each.image_x_px, each.image_y_px) for each in report.spots)


def test_a_blemish_of_one_frame_is_voted_out() -> None:
    blemish = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.5)
    combined = combine([frame(), frame(blemish), frame()])
    assert len(combined.spots) == combined.counts.found == 5


def test_a_mark_of_two_in_three_frames_stays() -> None:
    mark = spot(6, 4000, 3000, shot=PLAIN)
    combined = combine([frame(), frame(mark), frame(mark)])
    assert (4000.0, 3000.0) in places(combined)


def test_of_two_frames_both_must_show_a_mark() -> None:
    mark = spot(6, 4000, 3000, shot=PLAIN)
    assert len(combine([frame(), frame(mark)]).spots) == 5


def test_depth_size_and_place_are_averaged() -> None:
    one = spot(6, 4000, 3000, shot=PLAIN, depth_frac=0.10, particle_um=20.0)
    two = spot(6, 4002, 2999, shot=PLAIN, depth_frac=0.14, particle_um=24.0)
    combined = combine([frame(one), frame(two)])
    mean = max(combined.spots, key=lambda each: each.depth_frac)
    assert mean.depth_frac == pytest.approx(0.12)
    assert mean.particle_um == pytest.approx(22.0)
    assert (mean.image_x_px, mean.image_y_px) == pytest.approx((4001.0, 2999.5))
    # (4001.5 px, 4000 - 3000 px) of 6 um.
    assert (mean.from_left_mm, mean.from_top_mm) == pytest.approx((24.009, 6.0))
    assert mean.snr == pytest.approx(math.hypot(one.snr, two.snr))


def sights(*changes: dict[str, Any]) -> list[FrameReport]:
    """Return frames that all show one mark at one place, each as it is asked for."""
    marks = [
        replace(spot(6, 4000, 3000, shot=PLAIN), **{"snr": 50.0, **change}) for change in changes
    ]
    return [frame(mark) for mark in marks]


def combined_mark(*changes: dict[str, Any], work: WorkSettings = WORK) -> Spot:
    report = combine_reports(sights(*changes), work=work)
    return next(each for each in report.spots if abs(each.image_x_px - 4000) < 1)


def depths(at_f11: float) -> dict[str, float]:
    """Return depths that grow with the square of the f-number."""
    stops = (2.8, 4, 5.6, 8, 11, 16, 22)
    return {f"{stop:g}": min(at_f11 * (stop / 11) ** 2, 1.0) for stop in stops}


@pytest.mark.parametrize(("one", "two"), [(0.01, 0.026), (0.026, 0.01), (0.03, 0.04)])
def test_from_when_on_a_mark_shows_follows_from_its_mean_depths(one: float, two: float) -> None:
    # The clearest sight alone would say otherwise.
    seen = (
        {"depth_at": depths(one), "shows_from_f": 9.0, "snr": 90.0},
        {"depth_at": depths(two), "shows_from_f": 16.0},
    )
    work = WorkSettings(shoot_at_f=10.5)
    mark = combined_mark(*seen, work=work)
    assert mark.shows_from_f is not None
    assert depth_of(mark, mark.shows_from_f) >= 0.02
    assert depth_of(mark, mark.shows_from_f / 1.13) < 0.02
    assert shows(mark, work) == (mark.shows_from_f <= 10.5)
    faint = combined_mark({"depth_at": depths(0.001), "shows_from_f": 22.0}, {"depth_at": None})
    assert faint.shows_from_f is None
    blind = {"depth_at": None, "shows_from_f": None}
    assert combined_mark(blind, blind).shows_from_f is None


def test_what_an_eye_sees_is_what_it_sees_in_most_frames() -> None:
    eye = WorkSettings(view="screen at 100 %")
    seen = [{"depth_at": depths(0.01), "shows_from_f": f} for f in (8.0, 11.0, 16.0, None)]
    assert combined_mark(*seen[:3], work=eye).shows_from_f == 11.0
    assert combined_mark(*seen[:2], work=eye).shows_from_f == 11.0
    assert combined_mark(*seen[1:], work=eye).shows_from_f == 16.0
    assert combined_mark(*seen[2:], work=eye).shows_from_f is None


def test_the_range_of_a_size_goes_with_the_size() -> None:
    mark = combined_mark(
        {"particle_um": 20.0, "particle_um_range": (18.0, 22.0), "snr": 90.0},
        {"particle_um": 30.0, "particle_um_range": (27.0, 33.0)},
    )
    assert (mark.particle_um, mark.particle_um_range) == (25.0, (22.5, 27.5))
    lone = combined_mark(
        {"particle_um": 20.0, "particle_um_range": (18.0, 22.0)},
        {"particle_um": 30.0, "particle_um_range": None},
    )
    assert (lone.particle_um, lone.particle_um_range) == (25.0, (18.0, 25.0))
    none = combined_mark({"particle_um": None, "particle_um_range": None})
    assert none.particle_um_range is None


def test_a_width_of_a_fibre_is_not_averaged_with_the_diameter_of_a_speck() -> None:
    fibre = {"kind": "fibre", "particle_um": 8.0, "length_um": 400.0, "reasons": ("long",)}
    speck = {"kind": "speck", "particle_um": 64.0, "length_um": 60.0, "reasons": ("round",)}
    mark = combined_mark(fibre, fibre, {**speck, "snr": 500.0})
    assert (mark.kind, mark.particle_um, mark.length_um) == ("fibre", 8.0, 400.0)
    # The words explain what is said, however clear the sight that disagrees.
    assert mark.reasons == ("long",)


def test_spots_are_deepest_first_and_numbered() -> None:
    marks = [spot(6 + n, 4000, 500.0 * n, shot=PLAIN, depth_frac=0.02 * n) for n in (1, 2, 3)]
    combined = combine([frame(*marks), frame(*marks[::-1])])
    depths = [each.depth_frac for each in combined.spots]
    assert depths == sorted(depths, reverse=True)
    assert [each.id for each in combined.spots] == list(range(1, 9))


def test_shifted_frames_are_laid_over_each_other_first() -> None:
    rng = np.random.default_rng(3)
    dust = draw_dust(rng, 40)
    shots = [PLAIN, replace(PLAIN, shift_px=(12.0, -8.0)), replace(PLAIN, scale=1.004)]
    frames = [list_spots(rng, dust, shot, "x").report for shot in shots]
    combined = combine(frames)
    counts = sorted(len(each.spots) for each in frames)
    assert counts[0] - 2 <= len(combined.spots) <= counts[-1]


def test_the_vote_promises_no_more_than_it_shows() -> None:
    # Drawn: particles right at the promised limit are found in nine of ten cases.
    rng = np.random.default_rng(4)
    found = 0
    n_marks, n_rounds = 60, 12
    for _ in range(n_rounds):
        limit = combine([frame(), frame(), frame()]).sensitivity.smallest_depth_frac
        assert limit is not None
        assert limit < PLAIN.limit_frac
        sizes = np.geomspace(1.0, 200.0, 20_000)
        size_um = float(sizes[np.argmax(PLAIN.depth(sizes) >= limit)])
        dust = draw_dust(rng, n_marks)
        dust = replace(dust, size_um=np.full(n_marks, size_um))
        seen = combine([list_spots(rng, dust, PLAIN, "x").report for _ in range(3)])
        found += len(seen.spots)
    # 720 marks: one standard deviation is 1.1 %.
    assert found / (n_marks * n_rounds) == pytest.approx(0.90, abs=0.04)


def test_checks_notes_time_and_stack_are_brought_together() -> None:
    warn = ShotCheck(name="iso", value=800.0, wanted="64-400", outcome="warn")
    fine = replace(warn, value=100.0, outcome="ok")
    stacks = [
        Stack(distance_mm=1.2, uncertainty_mm=0.1, source="measured"),
        Stack(distance_mm=1.4, uncertainty_mm=0.1, source="measured"),
        Stack(distance_mm=9.9, uncertainty_mm=None, source="assumed"),
    ]
    frames = [
        frame(stack=stack, shot_checks=(check,), notes=(note,))
        for stack, check, note in zip(stacks, (fine, warn, fine), "abc", strict=True)
    ]
    combined = combine(frames, file="burst")
    assert combined.file == "burst"
    assert combined.shot_checks == (warn,)
    # Those of the frame whose sensor and picture it has.
    assert combined.notes == ("a",)
    assert combined.stack.distance_mm == pytest.approx(1.3)
    assert combined.stack.uncertainty_mm == pytest.approx(0.1 / math.sqrt(2.0))
    assert combined.verdict is None


def test_another_body_is_refused() -> None:
    with pytest.raises(GeometryError, match="different bodies"):
        combine([frame(), frame(camera=replace(BODY, serial="K-9"))])
