"""Frames of one state, judged as one: drawn frames whose screen has specks of its own."""

from dataclasses import replace
from pathlib import Path

import pytest

from drawn import PLAIN, blemishes, dust, hits, shoot
from motemap.pipeline.bursts import find_bursts, judge_burst, judge_bursts
from motemap.pipeline.frame import analyse, look_at
from motemap.pipeline.judging import Look
from motemap.records import FrameReport, Stack
from motemap.settings import Settings

pytestmark = pytest.mark.usefixtures("judged_once")

SETTINGS = Settings()
N_FRAMES = 4


@pytest.fixture(scope="module")
def burst(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Four raw frames of the same dust, each with three blemishes of its own."""
    folder = tmp_path_factory.mktemp("burst")
    marks = dust()
    return [
        shoot(
            folder / f"{number}.dng",
            (*marks, *blemishes(number)),
            taken_at=f"2031-05-02T10:00:{10 * number:02d}",
            seed=number,
            exposure_frac=0.5 + 0.02 * number,
        )
        for number in range(N_FRAMES)
    ]


@pytest.fixture(scope="module")
def alone(burst: list[Path]) -> list[FrameReport]:
    """Each frame of the burst judged by itself."""
    return [analyse(path, SETTINGS) for path in burst]


def test_one_frame_alone_takes_its_blemishes_for_dust(alone: list[FrameReport]) -> None:
    assert all(hits(frame, dust())[1] == 3 for frame in alone)


@pytest.mark.parametrize("n_frames", [2, 3, 4])
def test_dust_stays_and_what_one_frame_shows_goes(
    burst: list[Path], alone: list[FrameReport], n_frames: int
) -> None:
    report = judge_burst(burst[:n_frames], SETTINGS, label="state", jobs=1)
    assert report.file == "state"
    assert f"Combined from {n_frames} frames." in report.notes
    n_found, n_false = hits(report, dust())
    assert n_false == 0
    assert n_found >= max(hits(frame, dust())[0] for frame in alone[:n_frames]) - 1


def test_a_burst_shows_fainter_marks(burst: list[Path], alone: list[FrameReport]) -> None:
    single = alone[0].sensitivity
    report = judge_burst(burst, SETTINGS, jobs=1).sensitivity
    assert single.noise_frac is not None
    assert report.noise_frac is not None
    # Half the noise of one frame; fixed pattern and background keep it a little above.
    assert report.noise_frac == pytest.approx(single.noise_frac / 2.0, rel=0.15)
    assert single.smallest_depth_frac is not None
    assert report.smallest_depth_frac is not None
    assert report.smallest_depth_frac < 0.8 * single.smallest_depth_frac


def test_the_number_of_workers_changes_nothing(
    burst: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("motemap.pipeline.bursts.look_at", look_at)
    assert judge_burst(burst[:2], SETTINGS, jobs=1) == judge_burst(burst[:2], SETTINGS, jobs=3)


def test_one_frame_is_reported_as_itself(burst: list[Path], alone: list[FrameReport]) -> None:
    assert judge_burst(burst[:1], SETTINGS) == alone[0]


def test_what_cannot_be_combined_is_left_out_and_said(burst: list[Path], tmp_path: Path) -> None:
    other = shoot(tmp_path / "wide.dng", dust(), f_number=16.0)
    broken = tmp_path / "zero.dng"
    broken.touch()
    done: list[Path] = []
    report = judge_burst([*burst[:2], other, broken], SETTINGS, jobs=1, on_done=done.append)
    assert "Combined from 2 frames." in report.notes
    assert f"{other} differs in aperture and was left out." in report.notes
    assert f"{broken} cannot be used and was left out." in report.notes
    assert sorted(done) == sorted([*burst[:2], other, broken])


def test_a_fault_in_one_frame_leaves_the_rest_of_its_burst(
    burst: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(path: Path, settings: Settings, *, known_stack: Stack | None = None) -> Look:
        if path == burst[1]:
            raise ZeroDivisionError("division by zero")
        return look_at(path, settings, known_stack=known_stack)

    monkeypatch.setattr("motemap.pipeline.bursts.look_at", failing)
    report = judge_burst(burst[:3], SETTINGS)
    assert report.state == "judged"
    assert "Combined from 2 frames." in report.notes
    assert f"{burst[1]} cannot be used and was left out." in report.notes
    alone = judge_burst([burst[1]], SETTINGS)
    assert alone.error is not None
    assert "ZeroDivisionError: division by zero" in alone.error.cause


def test_a_fault_in_the_mean_of_a_burst_leaves_what_most_frames_show(
    burst: list[Path], alone: list[FrameReport], monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_args: object, **_known: object) -> Look:
        raise ZeroDivisionError

    monkeypatch.setattr("motemap.pipeline.bursts.judge_flat", failing)
    report = judge_burst(burst[:3], SETTINGS, label="state")
    assert (report.file, report.state) == ("state", "judged")
    n_found, n_false = hits(report, dust())
    assert n_false == 0
    assert n_found >= max(hits(frame, dust())[0] for frame in alone[:3]) - 1
    told = " ".join(report.notes)
    assert "Combined from 3 frames." in told
    assert "The mean of the frames could not be judged (ZeroDivisionError)" in told

    monkeypatch.setattr("motemap.pipeline.bursts.combine_reports", failing)
    report = judge_burst(burst[:3], SETTINGS, label="state")
    assert report.file == "state"
    best = min(alone[:3], key=lambda frame: frame.sensitivity.smallest_particle_um or 0.0)
    assert (report.spots, report.verdict) == (best.spots, best.verdict)
    (told,) = (note for note in report.notes if note not in best.notes)
    assert told.startswith("The frames could not be combined (ZeroDivisionError)")
    assert f"rests on {best.file} alone" in told


def test_what_was_assumed_of_the_sensor_is_said_of_a_burst_too(
    burst: list[Path], alone: list[FrameReport], monkeypatch: pytest.MonkeyPatch
) -> None:
    def assuming(path: Path, settings: Settings, *, known_stack: Stack | None = None) -> Look:
        look = look_at(path, settings, known_stack=known_stack)
        assert look.frame is not None
        return replace(look, frame=replace(look.frame, notes=("The sensor is assumed.",)))

    monkeypatch.setattr("motemap.pipeline.bursts.look_at", assuming)
    assert "The sensor is assumed." not in alone[0].notes
    assert "The sensor is assumed." in judge_burst(burst[:2], SETTINGS).notes


def test_nothing_usable_is_reported_as_it_is(tmp_path: Path) -> None:
    broken = tmp_path / "zero.dng"
    broken.touch()
    report = judge_burst([broken], SETTINGS, label="state")
    assert (report.state, report.file) == ("unreadable", "state")


def test_shifted_frames_are_voted_on_instead_of_averaged(burst: list[Path], tmp_path: Path) -> None:
    shifted = [replace(mark, col_px=mark.col_px + 9.0) for mark in dust()]
    path = shoot(tmp_path / "shifted.dng", (*shifted, *blemishes(9)), seed=9)
    report = judge_burst([burst[0], path], SETTINGS, jobs=1)
    n_found, n_false = hits(report, dust())
    assert n_false == 0
    assert n_found >= len(dust()) - 2
    assert report.verdict is not None
    assert report.counts.found == len(report.spots)


def test_bursts_are_found_by_body_and_time(burst: list[Path], tmp_path: Path) -> None:
    later = shoot(tmp_path / "later.dng", (), taken_at="2031-05-02T10:10:00")
    other = shoot(tmp_path / "other.dng", (), taken_at="2031-05-02T10:00:05", serial="K-3")
    timeless = [
        shoot(tmp_path / folder / f"{name}.dng", (), taken_at=None)
        for folder in ("a", "b")
        for name in ("1", "2")
    ]
    broken = tmp_path / "zero.dng"
    broken.touch()
    found = set(find_bursts([*burst, later, other, broken, *timeless]))
    assert found == {
        tuple(burst),
        (later,),
        (other,),
        (broken,),
        tuple(timeless[:2]),
        tuple(timeless[2:]),
    }


def test_a_raw_and_the_cameras_picture_of_it_count_once(burst: list[Path], tmp_path: Path) -> None:
    raw = shoot(tmp_path / "one.dng", dust())
    shoot(tmp_path / "one.jpg", dust())
    assert find_bursts(sorted(tmp_path.iterdir())) == ((raw,),)
    del burst


def test_many_bursts_give_one_report_each(burst: list[Path], tmp_path: Path) -> None:
    later = shoot(tmp_path / "later.dng", dust(), taken_at="2031-05-02T10:10:00")
    reports = judge_bursts([*burst[:2], later], SETTINGS, jobs=1)
    assert {report.file for report in reports} == {str(burst[0]), str(later)}
    assert PLAIN.width_px != PLAIN.height_px
