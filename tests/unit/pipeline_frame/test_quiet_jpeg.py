"""Quiet fields stored as coarse JPEGs: lone cosines are no dust, and dust is still found."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from drawn import PLAIN
from motemap.pipeline.frame import analyse
from motemap.settings import Settings
from motemap.synth.camera import PictureSpec, SensorSpec
from motemap.synth.frame import draw_frame
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec
from motemap.synth.store import write_frame

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.records import FrameReport, Spot
    from motemap.synth.frame import DrawnFrame
    from motemap.synth.spec import FrameSpec
    from motemap.synth.truth import TrueMark

NEAR_PX = 5.0


def quiet_frame(n_specks: int, seed: int, orientation: int = 1) -> FrameSpec:
    """Return a frame whose noise is mostly below half a step of its cosines."""
    return replace(
        PLAIN,
        seed=seed,
        width_px=1200,
        height_px=800,
        pitch_um=7.8,
        mix=replace(PLAIN.mix, n_specks=n_specks, smallest_um=6.0, largest_um=30.0),
        scene=SceneSpec(exposure_frac=0.39, vignetting_frac=0.02, tilt_frac=0.12),
        sensor=SensorSpec(n_hot=0, n_dead=0, n_clusters=0),
        picture=PictureSpec(curve="steep", smoothing_px=1.0, sharpening_frac=0.5),
        file=FileSpec(format="jpeg", quality=80, orientation=orientation),
    )


def judged(spec: FrameSpec, folder: Path) -> tuple[DrawnFrame, FrameReport]:
    drawn = draw_frame(spec)
    write_frame(drawn, folder / "shot.jpg")
    return drawn, analyse(folder / "shot.jpg", Settings())


def is_on(spot: Spot, mark: TrueMark) -> bool:
    away_px = math.hypot(spot.image_x_px - mark.image_x_px, spot.image_y_px - mark.image_y_px)
    return away_px < NEAR_PX


@pytest.mark.parametrize(("seed", "orientation"), [(41, 1), (43, 6), (44, 3)])
def test_a_quiet_field_has_no_marks(tmp_path: Path, seed: int, orientation: int) -> None:
    _, report = judged(quiet_frame(0, seed, orientation), tmp_path)
    assert report.spots == ()
    assert report.verdict is not None
    assert report.verdict.level == "ready"


@pytest.mark.parametrize("seed", [42, 43])
def test_what_is_deeper_than_stated_is_found(tmp_path: Path, seed: int) -> None:
    drawn, report = judged(quiet_frame(40, seed), tmp_path)
    assert report.sensitivity is not None
    limit_frac = report.sensitivity.smallest_depth_frac
    assert limit_frac is not None
    deep = [mark for mark in drawn.marks if mark.depth_frac > limit_frac]
    found = [mark for mark in deep if any(is_on(spot, mark) for spot in report.spots)]
    false = [spot for spot in report.spots if not any(is_on(spot, mark) for mark in drawn.marks)]
    assert len(deep) >= 12
    assert len(found) >= 0.95 * len(deep)
    assert false == []
