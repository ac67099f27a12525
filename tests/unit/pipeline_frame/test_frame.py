"""One frame from file to report, on small frames of known dust."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from motemap.pipeline.frame import analyse, look_at
from motemap.pipeline.judging import CURVE_NOTE
from motemap.records import Stack
from motemap.settings import Settings, WorkSettings
from motemap.synth.camera import PictureSpec, SensorSpec
from motemap.synth.frame import DrawnFrame, draw_frame
from motemap.synth.marks import MarkMix
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec, FrameSpec
from motemap.synth.store import SUFFIXES, write_frame

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.records import FrameReport
    from motemap.synth.files.dng import Cfa
    from motemap.synth.spec import FileFormat
    from motemap.synth.truth import TrueMark

SPEC = FrameSpec(
    seed=11,
    width_px=1500,
    height_px=1000,
    mix=MarkMix(n_specks=12, n_fibres=1, smallest_um=16.0),
    sensor=SensorSpec(n_hot=30, n_dead=10),
)
SETTINGS = Settings()


@pytest.fixture(scope="module")
def dusty(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, DrawnFrame]:
    return drawn(SPEC, tmp_path_factory.mktemp("dusty") / "dusty.dng")


def drawn(spec: FrameSpec, path: Path) -> tuple[Path, DrawnFrame]:
    frame = draw_frame(spec)
    write_frame(frame, path)
    return path, frame


def clear(frame: DrawnFrame) -> list[TrueMark]:
    """Return the marks that any search should find."""
    return [mark for mark in frame.marks if mark.depth_frac >= 0.01 and mark.snr >= 12]


def distance_to(report: FrameReport, mark: TrueMark) -> float:
    return min(
        (
            math.hypot(spot.image_x_px - mark.image_x_px, spot.image_y_px - mark.image_y_px)
            for spot in report.spots
        ),
        default=math.inf,
    )


def outcomes(report: FrameReport) -> dict[str, str]:
    return {check.name: check.outcome for check in report.shot_checks}


def test_every_clear_mark_is_found_and_nothing_else(dusty: tuple[Path, DrawnFrame]) -> None:
    path, frame = dusty
    report = analyse(path, SETTINGS)
    assert report.state == "judged"
    specks = [mark for mark in clear(frame) if mark.kind == "speck"]
    assert len(specks) >= 10
    assert max(distance_to(report, mark) for mark in specks) < 1.5
    assert len(report.spots) <= len(frame.marks)
    assert report.counts.found == len(report.spots)


def test_spots_are_numbered_deepest_first(dusty: tuple[Path, DrawnFrame]) -> None:
    spots = analyse(dusty[0], SETTINGS).spots
    depths = [spot.depth_frac for spot in spots]
    assert depths == sorted(depths, reverse=True)
    assert [spot.id for spot in spots] == list(range(1, len(spots) + 1))


def test_the_report_says_what_the_file_says(dusty: tuple[Path, DrawnFrame]) -> None:
    path, frame = dusty
    report = analyse(path, SETTINGS)
    assert report.file == str(path)
    assert report.camera.serial == frame.spec.file.tags.serial
    assert report.exposure.f_number == 22.0
    assert report.image is not None
    assert (report.image.width_px, report.image.height_px) == (1500, 1000)
    assert report.sensor is not None
    assert report.sensor.pitch_um == pytest.approx(6.0, rel=1e-3)


def test_noise_and_limit_are_those_of_the_frame(dusty: tuple[Path, DrawnFrame]) -> None:
    path, frame = dusty
    sensitivity = analyse(path, SETTINGS).sensitivity
    # The noise of one stored pixel, all colours together, against that of the middle.
    assert sensitivity.noise_frac == pytest.approx(frame.noise_frac, rel=0.35)
    assert sensitivity.smallest_depth_frac is not None
    assert 0.003 < sensitivity.smallest_depth_frac < 0.05
    assert sensitivity.smallest_particle_um is not None
    assert sensitivity.smallest_particle_um < 16.0  # the smallest drawn, all of them found


def test_positions_on_the_sensor_follow_the_contract(dusty: tuple[Path, DrawnFrame]) -> None:
    spots = analyse(dusty[0], SETTINGS).spots
    assert spots
    for spot in spots:
        assert spot.from_left_mm == pytest.approx((spot.image_x_px + 0.5) * 0.006, rel=1e-3)
        assert spot.from_top_mm == pytest.approx(6.0 - (spot.image_y_px + 0.5) * 0.006, abs=1e-2)


def test_content_in_memory_is_judged_as_the_file_is(dusty: tuple[Path, DrawnFrame]) -> None:
    path, _ = dusty
    from_file = analyse(path, SETTINGS)
    from_memory = analyse(path, SETTINGS, content=path.read_bytes())
    assert from_memory == from_file


def test_twice_is_the_same(dusty: tuple[Path, DrawnFrame]) -> None:
    assert analyse(dusty[0], SETTINGS) == analyse(dusty[0], SETTINGS)


def test_a_narrower_working_aperture_shows_more(dusty: tuple[Path, DrawnFrame]) -> None:
    showing = [
        analyse(dusty[0], Settings(work=WorkSettings(shoot_at_f=aperture))).counts.showing
        for aperture in (2.8, 8.0, 22.0)
    ]
    assert showing == sorted(showing)
    assert showing[0] < showing[-1]


def test_a_given_stack_distance_is_used(dusty: tuple[Path, DrawnFrame]) -> None:
    report = analyse(dusty[0], Settings(work=WorkSettings(stack_mm=2.0)))
    assert report.stack.source == "given"
    assert report.stack.distance_mm == 2.0


def test_what_a_frame_measures_itself_goes_before_what_others_of_the_body_tell(
    dusty: tuple[Path, DrawnFrame],
) -> None:
    alone = analyse(dusty[0], SETTINGS)
    assert alone.stack.source == "measured"
    for distance_mm in (0.2, 3.0):
        told = Stack(
            distance_mm=distance_mm, uncertainty_mm=0.01, source="given", is_from_record=True
        )
        assert look_at(dusty[0], SETTINGS, known_stack=told).report == alone


def test_the_planes_are_kept_for_pictures(dusty: tuple[Path, DrawnFrame]) -> None:
    look = look_at(dusty[0], SETTINGS)
    assert look.frame is not None
    assert look.flat is not None
    assert look.marks is not None
    assert look.flat.contrast.shape == look.frame.plane.light.shape
    assert look.report == analyse(dusty[0], SETTINGS)


def test_a_clean_frame_is_ready(tmp_path: Path) -> None:
    clean = replace(SPEC, mix=MarkMix(n_specks=0, n_fibres=0))
    report = analyse(drawn(clean, tmp_path / "clean.dng")[0], SETTINGS)
    assert report.spots == ()
    assert report.verdict is not None
    assert report.verdict.level == "ready"
    assert report.verdict.method == "none"


def test_without_metadata_positions_stay_in_the_picture(tmp_path: Path) -> None:
    bare = replace(SPEC, file=FileSpec(format="tiff", has_exif=False))
    path, frame = drawn(bare, tmp_path / "bare.tif")
    report = analyse(path, SETTINGS)
    assert CURVE_NOTE in report.notes
    assert CURVE_NOTE not in analyse(drawn(SPEC, tmp_path / "raw.dng")[0], SETTINGS).notes
    assert report.exposure.f_number is None
    assert report.sensor is not None
    assert report.sensor.source == "assumed"
    specks = [mark for mark in clear(frame) if mark.kind == "speck"]
    assert max(distance_to(report, mark) for mark in specks) < 1.5


def test_a_turned_picture_has_no_place_on_the_sensor(tmp_path: Path) -> None:
    turned = replace(SPEC, file=FileSpec(format="jpeg", is_turned=True))
    report = analyse(drawn(turned, tmp_path / "turned.jpg")[0], SETTINGS)
    assert report.spots
    assert {(spot.from_left_mm, spot.from_top_mm, spot.place) for spot in report.spots} == {
        (None, None, None)
    }
    assert any("turned" in note or "upright" in note for note in report.notes)


def test_a_black_frame_is_shot_again(tmp_path: Path) -> None:
    black = replace(SPEC, scene=SceneSpec(exposure_frac=0.0005), file=FileSpec(format="tiff"))
    report = analyse(drawn(black, tmp_path / "black.tif")[0], SETTINGS)
    assert report.state == "reshoot"
    assert outcomes(report)["brightness"] == "fail"
    assert report.spots == ()
    assert report.verdict is not None
    assert report.verdict.level == "reshoot"


def test_a_burnt_out_frame_is_shot_again(tmp_path: Path) -> None:
    bright = replace(SPEC, scene=SceneSpec(exposure_frac=2.0), file=FileSpec(format="tiff"))
    report = analyse(drawn(bright, tmp_path / "bright.tif")[0], SETTINGS)
    assert report.state == "reshoot"
    assert outcomes(report)["clipping"] == "fail"


def test_nobody_is_told_to_be_ready_where_a_part_was_burnt_out(tmp_path: Path) -> None:
    lit_from_one_side = SceneSpec(exposure_frac=1.0, tilt_frac=0.2)
    part = replace(
        SPEC,
        mix=MarkMix(n_specks=0, n_fibres=0),
        scene=lit_from_one_side,
        file=FileSpec(format="tiff"),
    )
    report = analyse(drawn(part, tmp_path / "part.tif")[0], SETTINGS)
    assert outcomes(report)["clipping"] == "fail"
    assert report.verdict is not None
    assert report.verdict.level == "reshoot"


def test_a_small_copy_is_shot_again(tmp_path: Path) -> None:
    small = replace(SPEC, width_px=390, height_px=260, file=FileSpec(format="tiff"))
    report = analyse(drawn(small, tmp_path / "small.tif")[0], SETTINGS)
    assert report.state == "reshoot"
    assert outcomes(report)["resolution"] == "fail"


@pytest.mark.parametrize("mosaic", ["RGGB", "GBRG", "MONO"])
def test_coarse_photosites_show_the_narrow_shadows_of_a_thin_stack(
    tmp_path: Path, mosaic: Cfa
) -> None:
    coarse = replace(
        SPEC,
        pitch_um=8.5,
        stack_mm=0.5,
        mix=MarkMix(n_specks=40, n_fibres=0, smallest_um=8.0, largest_um=60.0),
        sensor=SensorSpec(n_hot=60, n_dead=60),
        file=FileSpec(mosaic=mosaic),
    )
    path, frame = drawn(coarse, tmp_path / "coarse.dng")
    report = analyse(path, SETTINGS)
    wanted = clear(frame)
    missed = [mark for mark in wanted if distance_to(report, mark) > 3.0]
    assert len(wanted) > 30
    assert len(missed) <= 2
    assert len(report.spots) <= len(frame.marks)


@pytest.mark.parametrize("form", ["tiff", "jpeg"])
def test_defects_that_a_picture_smears_are_no_narrow_shadows(
    tmp_path: Path, form: FileFormat
) -> None:
    coarse = replace(
        SPEC,
        pitch_um=6.8,
        stack_mm=0.92,
        mix=MarkMix(n_specks=25, n_fibres=0, smallest_um=10.0, largest_um=60.0),
        sensor=SensorSpec(n_hot=160, n_dead=40),
        file=FileSpec(format=form),
    )
    path, frame = drawn(coarse, (tmp_path / "coarse").with_suffix(SUFFIXES[form]))
    report = analyse(path, SETTINGS)
    assert all(distance_to(report, mark) < 3.0 for mark in clear(frame))
    assert len(report.spots) <= len(frame.marks)


def test_a_shrunk_picture_that_lost_deep_dust_is_shot_again(tmp_path: Path) -> None:
    third = PictureSpec(shrink=3)
    small = replace(
        SPEC, width_px=3000, height_px=2000, picture=third, file=FileSpec(format="jpeg")
    )
    settings = Settings(work=WorkSettings(sensor="18x12"))
    report = analyse(drawn(small, tmp_path / "third.jpg")[0], settings)
    assert report.state == "reshoot"
    assert outcomes(report)["resolution"] == "fail"


def test_a_picture_of_something_is_no_test_shot(tmp_path: Path) -> None:
    from motemap.synth.files import write_tiff

    rows, cols = np.indices((900, 1300))
    blocks = ((rows // 60 + cols // 90) % 2) * 22000 + 18000
    grain = np.random.default_rng(1).integers(0, 900, blocks.shape)
    path = tmp_path / "scene.tif"
    write_tiff(path, (blocks + grain).astype(np.uint16), tags=SPEC.file.tags)
    report = analyse(path, SETTINGS)
    assert report.state == "reshoot"
    assert outcomes(report)["blank field"] == "fail"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.jpg", b""),
        ("letter.nef", b"Dear customer, your camera is ready.\n" * 40),
        ("cut.dng", None),
        ("missing.tif", None),
    ],
)
def test_what_cannot_be_read_gives_a_cause_and_a_repair(
    name: str, content: bytes | None, tmp_path: Path, dusty: tuple[Path, DrawnFrame]
) -> None:
    path = tmp_path / name
    if name.startswith("cut"):
        content = dusty[0].read_bytes()[:4000]
    if content is not None:
        path.write_bytes(content)
    report = analyse(path, SETTINGS)
    assert report.state == "unreadable"
    assert report.error is not None
    assert report.error.cause
    assert report.error.repair
    assert report.image is None
    assert report.verdict is None
