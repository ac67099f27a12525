"""Which frames of a burst enter its mean, and which are left out and named."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from drawn import dust, hits, shoot
from motemap.pipeline import burst_choice
from motemap.pipeline.burst_choice import Sight, are_aligned, choose, left_out
from motemap.pipeline.bursts import judge_burst
from motemap.pipeline.frame import analyse, look_at
from motemap.records import FrameReport, Sensitivity, ShotCheck, State
from motemap.settings import Settings
from sequences import Shot, draw_dust, list_spots, report_of

pytestmark = pytest.mark.usefixtures("judged_once")

SETTINGS = Settings()
DIM = 0.005
"""Exposed so, a frame is just too noisy to judge from by itself."""


@pytest.fixture(scope="module")
def dim(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Four raw frames, each a little too noisy by itself."""
    folder = tmp_path_factory.mktemp("dim")
    return [
        shoot(folder / f"{number}.dng", dust(), seed=number + 1, exposure_frac=DIM)
        for number in range(4)
    ]


def test_frames_that_are_each_too_noisy_are_judged_by_their_mean(dim: list[Path]) -> None:
    alone = [analyse(path, SETTINGS) for path in dim]
    assert {frame.state for frame in alone} == {"reshoot"}
    report = judge_burst(dim, SETTINGS, jobs=1)
    assert report.state == "judged"
    assert report.notes == ("Combined from 4 frames.",)
    assert hits(report, dust()) == (14, 0)
    assert max(hits(frame, dust())[0] for frame in alone) < 14
    for name, most in (("noise_frac", 0.55), ("smallest_depth_frac", 0.7)):
        single, mean = (getattr(each.sensitivity, name) for each in (alone[0], report))
        # Half the noise of one frame; the mean also measures how wide shadows are, which moves the limit.
        assert 0.45 * single < mean < most * single


def test_a_mean_that_is_still_too_noisy_is_not_judged_either(dim: list[Path]) -> None:
    wish = replace(SETTINGS, work=replace(SETTINGS.work, shoot_at_f=22.0, show_depth_frac=0.02))
    report = judge_burst(dim[:2], wish, jobs=1)
    assert report.state == "reshoot"
    assert "Combined from 2 frames." in report.notes
    assert all(spot.depth_at is None for spot in report.spots)


def test_a_frame_that_only_adds_noise_is_left_out_and_named(
    dim: list[Path], tmp_path: Path
) -> None:
    good = [shoot(tmp_path / f"{number}.dng", dust(), seed=number) for number in (7, 8)]
    report = judge_burst([*good, dim[0]], SETTINGS, jobs=1)
    assert report.state == "judged"
    assert "Combined from 2 frames." in report.notes
    assert f"{dim[0]} is not fit to judge (sensitivity) and was left out." in report.notes
    without = judge_burst(good, SETTINGS, jobs=1)
    assert (report.spots, report.sensitivity) == (without.spots, without.sensitivity)


def test_frames_that_fail_otherwise_stay_out_and_are_named(dim: list[Path], tmp_path: Path) -> None:
    burnt = shoot(tmp_path / "burnt.dng", dust(), seed=9, exposure_frac=1.4)
    report = judge_burst([burnt, *dim], SETTINGS, jobs=1)
    assert report.state == "judged"
    assert report.file == str(dim[0])
    (told,) = (note for note in report.notes if "left out" in note)
    assert told.startswith(f"{burnt} is not fit to judge (")
    assert "clipping" in told


def test_things_in_the_picture_do_not_average_out(
    dim: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    look = look_at(dim[0], SETTINGS)
    assert Sight.of(dim[0], look, keeps_ground=False).averages_out
    monkeypatch.setattr(burst_choice, "is_object", lambda *_known: True)
    assert not Sight.of(dim[0], look, keeps_ground=False).averages_out


def sight(
    name: str, limit_frac: float, *, failed: str | None = None, f_number: float = 22.0
) -> Sight:
    """A frame that shows marks from this depth on."""
    state: State = "judged" if failed is None else "reshoot"
    check = ShotCheck(
        name=failed or "ISO", value=None, wanted="", outcome="fail" if failed else "ok"
    )
    report = report_of(
        [],
        Shot(f_number=f_number),
        name,
        state=state,
        shot_checks=(check,),
        sensitivity=Sensitivity(smallest_depth_frac=limit_frac, smallest_particle_um=5.0),
    )
    return Sight(
        path=Path(name), report=report, flat=None, averages_out=failed == "sensitivity", ground=None
    )


def names(sights: list[Sight]) -> list[str]:
    return [each.report.file for each in sights]


def test_of_frames_not_fit_those_join_that_make_the_mean_clearer() -> None:
    faint = [sight(f"s{n}", 0.1 + 0.01 * n, failed="sensitivity") for n in (2, 0, 1)]
    worse = sight("w", 0.3, failed="sensitivity")
    # Of four frames of 0.11 the mean shows 0.055; with one of 0.3 it would show 0.071.
    assert names(choose([worse, *faint])) == ["s0", "s1", "s2"]
    assert names(choose([*faint, sight("j", 0.09)])) == ["j", "s0", "s1", "s2"]
    assert names(choose([*faint, sight("j", 0.05)])) == ["j"]
    assert names(choose([*faint, sight("other", 0.01, f_number=16.0)])) == ["other"]
    assert choose([sight("c", 0.01, failed="clipping")]) == []


def test_what_is_left_out_is_said_with_the_reason() -> None:
    used = sight("a", 0.02)
    sights = [
        used,
        sight("b", 0.02, failed="clipping"),
        sight("c", 0.02, f_number=16.0),
        sight("d", 0.02, failed="sensitivity"),
    ]
    assert left_out(sights, [used]) == (
        "b is not fit to judge (clipping) and was left out.",
        "c differs in aperture and was left out.",
        "d is not fit to judge (sensitivity) and was left out.",
    )
    many = [sight(str(number), 0.02) for number in range(10)]
    assert left_out(many, many) == ("2 more frames of the burst were left out.",)


def shaken(report: FrameReport, rng: np.random.Generator, error_px: float) -> FrameReport:
    """The same marks, placed worse: noise and texture pull at them."""
    moves = rng.normal(0.0, error_px, (len(report.spots), 2))
    spots = tuple(
        replace(
            spot,
            image_x_px=spot.image_x_px + float(right),
            image_y_px=spot.image_y_px + float(down),
        )
        for spot, (right, down) in zip(report.spots, moves, strict=True)
    )
    return replace(report, spots=spots)


@pytest.mark.parametrize("n_marks", [4, 8, 16])
def test_marks_badly_placed_are_not_taken_for_moved(n_marks: int) -> None:
    n_aligned = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        report = list_spots(rng, draw_dust(rng, n_marks), Shot(), "a").report
        n_aligned += are_aligned([shaken(report, rng, 0.9) for _ in range(2)])
    assert n_aligned >= 38


@pytest.mark.parametrize("shot", [Shot(shift_px=(3.0, 0.0)), Shot(scale=1.001)])
def test_marks_that_moved_are_told(shot: Shot) -> None:
    for seed in range(20):
        rng = np.random.default_rng(seed)
        particles = draw_dust(rng, 30)
        frames = [list_spots(rng, particles, each, "a").report for each in (Shot(), shot)]
        assert not are_aligned(frames)
