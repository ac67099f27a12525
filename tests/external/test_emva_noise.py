"""The noise that is reported, against EMVA 1288's noise meter.

Source: EMVA Standard 1288, release 4.0, as coded by its reference package `emva1288` 1.0.2 from
PyPI, ``process.routines.high_pass_filter``: a pixel less the mean of the 5 x 5 box round it, on
pixels of one colour. White noise comes out with sqrt(24/25) of its deviation (derived), so what
comes out is scaled back by that.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from emva1288.process.routines import high_pass_filter

from motemap.pipeline.frame import look_at
from motemap.settings import Settings
from motemap.synth.camera import SensorSpec
from motemap.synth.frame import draw_frame
from motemap.synth.marks import MarkMix
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec, FrameSpec
from motemap.synth.store import write_frame

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from motemap.pipeline.judging import Look
    from motemap.synth.frame import DrawnFrame

pytestmark = pytest.mark.external

BOX = 5
BACK = math.sqrt(BOX**2 / (BOX**2 - 1))
SPEC = FrameSpec(
    seed=11,
    width_px=1206,
    height_px=810,
    mix=MarkMix(n_specks=0, n_fibres=0),
    scene=SceneSpec(vignetting_frac=0.05, tilt_frac=0.0),
)
DUSTY = MarkMix(n_specks=40, n_fibres=1, smallest_um=12.0)


def emva_noise(codes: NDArray[np.uint16], black: int) -> float:
    """Return EMVA's noise of one colour as a share of its light."""
    filtered = high_pass_filter(codes.astype(np.int64), BOX)
    spread = float(np.std(filtered["img"])) / float(filtered["multiplicator"])
    return BACK * spread / (float(codes.mean()) - black)


def draw(spec: FrameSpec, folder: Path) -> tuple[DrawnFrame, Look]:
    drawn = draw_frame(spec)
    path = folder / "frame.dng"
    write_frame(drawn, path)
    return drawn, look_at(path, Settings())


@pytest.mark.parametrize("iso", [100.0, 400.0, 1600.0])
def test_a_monochrome_raw_has_the_noise_that_emva_measures(tmp_path: Path, iso: float) -> None:
    spec = replace(SPEC, file=FileSpec(mosaic="MONO"), sensor=SensorSpec(iso=iso))
    drawn, look = draw(spec, tmp_path)
    assert look.frame is not None
    wanted = emva_noise(drawn.codes.astype(np.uint16), spec.sensor.black)
    # Both are known to a thousandth from a million pixels; neighbours' differences and a robust
    # scale answer a little differently to light that falls off.
    assert look.frame.plane.fine_noise_frac == pytest.approx(wanted, rel=0.02)
    assert look.report.sensitivity.noise_frac == pytest.approx(wanted, rel=0.05)


def test_a_mosaic_has_the_noise_of_its_colours(tmp_path: Path) -> None:
    drawn, look = draw(SPEC, tmp_path)
    assert look.frame is not None
    phases = [(0, 0), (0, 1), (1, 0), (1, 1)]
    black = SPEC.sensor.black
    each = [emva_noise(drawn.codes[row::2, col::2].astype(np.uint16), black) for row, col in phases]
    # One figure stands for four colours: it lies between the quietest and the noisiest.
    assert 0.95 * min(each) < look.frame.plane.fine_noise_frac < 1.05 * max(each)
    # A cell of the plane averages all four, brought to one level: the root of their mean square.
    together = math.sqrt(float(np.mean(np.square(each))))
    assert look.report.sensitivity.noise_frac == pytest.approx(together, rel=0.06)


def test_dust_and_hot_pixels_do_not_pass_for_noise(tmp_path: Path) -> None:
    clean = replace(SPEC, file=FileSpec(mosaic="MONO"))
    sensor = SensorSpec(n_hot=120, n_dead=40)
    dirty = replace(clean, mix=DUSTY, sensor=sensor)
    drawn, look = draw(clean, tmp_path)
    _, dusty_look = draw(dirty, tmp_path)
    wanted = emva_noise(drawn.codes.astype(np.uint16), clean.sensor.black)
    assert look.report.sensitivity.noise_frac == pytest.approx(wanted, rel=0.05)
    assert dusty_look.report.sensitivity.noise_frac == pytest.approx(wanted, rel=0.06)
