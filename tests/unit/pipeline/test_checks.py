"""What is asked of a shot, from the file on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from fields import noisy
from motemap.api import Settings, WorkSettings, analyse

if TYPE_CHECKING:
    from pathlib import Path

SHAPE = (700, 1000)


@pytest.mark.parametrize(("upto", "outcome"), [(1000, "fail"), (600, "ok")])
def test_a_wire_across_the_picture_is_no_fibre(tmp_path: Path, upto: int, outcome: str) -> None:
    rows, cols = np.indices(SHAPE)
    wire = 0.25 * np.exp(-(((rows - 300 - 0.08 * cols) / 4) ** 2)) * (cols < upto)
    codes = (150 * (1 - wire) * (1 + noisy(SHAPE, 0.01, 3))).round().astype(np.uint8)
    path = tmp_path / "wire.png"
    Image.fromarray(codes).save(path)
    report = analyse(path, Settings())
    assert {check.name: check.outcome for check in report.shot_checks}["blank field"] == outcome


def test_noise_that_no_code_shows_is_unknown(tmp_path: Path) -> None:
    path = tmp_path / "even.png"
    rows = np.indices(SHAPE)[0]
    Image.fromarray((150 + rows // 100).astype(np.uint8)).save(path)
    report = analyse(path, Settings())
    assert report.sensitivity is not None
    assert report.sensitivity.noise_frac is None


@pytest.mark.parametrize(("stack_mm", "is_said"), [(None, True), (1.3, False)])
def test_coarse_pixels_may_hide_dust_on_a_stack_that_nobody_knows(
    tmp_path: Path, *, stack_mm: float | None, is_said: bool
) -> None:
    # Of 12 um, as in a picture of half the size: on a stack of 0.8 mm the shadows of specks are as
    # narrow as defects, on one of 1.3 mm they are not.
    path = tmp_path / "half.png"
    exif = Image.Exif()
    exif[0x829D] = 22.0
    codes = (150 * (1 + noisy(SHAPE, 0.01, 3))).round().astype(np.uint8)
    Image.fromarray(codes).save(path, exif=exif)
    settings = Settings(work=WorkSettings(sensor="12x8.4", stack_mm=stack_mm))
    report = analyse(path, settings)
    check = {check.name: check for check in report.shot_checks}["resolution"]
    assert check.outcome == "warn"
    assert ("nearer to the photosites" in (check.advice or "")) == is_said
