"""The background under the marks, against photutils.

Source: photutils 3.0, ``Background2D`` with ``MedianBackground`` (boxes of clipped medians,
median-filtered, carried to every cell by splines), installed from PyPI.
"""

from __future__ import annotations

import numpy as np
import pytest
from photutils.background import Background2D, MADStdBackgroundRMS, MedianBackground

from fields import bell, noisy, plane_of, uneven_light
from motemap.flatten import flatten
from motemap.flatten.background import estimate_background
from motemap.settings import FlattenSettings

pytestmark = pytest.mark.external

SHAPE = (480, 720)
BOX = 24
INNER = np.s_[BOX:-BOX, BOX:-BOX]


def soiled(noise_frac: float) -> tuple[np.ndarray, np.ndarray]:
    """Return uneven light with noise and marks, and the same light without."""
    clean = uneven_light(SHAPE, vignetting=0.5, tilt=0.2)
    rng = np.random.default_rng(3)
    marks = np.zeros(SHAPE, np.float32)
    for _ in range(25):
        marks += bell(SHAPE, rng.uniform(20, 460), rng.uniform(20, 700), 2.5, 0.3)
    return (clean * (1 + marks + noisy(SHAPE, noise_frac, 4))).astype(np.float32), clean


def theirs(light: np.ndarray) -> Background2D:
    return Background2D(
        light,
        (BOX, BOX),
        filter_size=(3, 3),
        bkg_estimator=MedianBackground(),
        bkg_rms_estimator=MADStdBackgroundRMS(),
    )


def test_backgrounds_agree_inside() -> None:
    light, _ = soiled(0.004)
    ours = estimate_background(light, np.ones(SHAPE, bool), BOX)[:, :]
    ratio = ours[INNER] / theirs(light).background[INNER] - 1
    # A box median of 24 x 24 cells is known to 1.25 x 0.4 % / 24 = 0.02 %, ours of every second
    # cell both ways to 0.04 %; dust in one of 600 boxes and the bend between boxes do the rest.
    assert float(np.median(np.abs(ratio))) < 0.0008
    assert float(np.percentile(np.abs(ratio), 95)) < 0.004


def test_ours_is_nearer_to_the_truth_along_the_borders() -> None:
    light, clean = soiled(0.001)
    ours = np.abs(estimate_background(light, np.ones(SHAPE, bool), BOX)[:, :] / clean - 1)
    others = np.abs(theirs(light).background / clean - 1)
    rim = np.ones(SHAPE, bool)
    rim[INNER] = False
    assert float(np.percentile(ours[rim], 99)) < float(np.percentile(others[rim], 99))


def test_noise_agrees() -> None:
    light, clean = soiled(0.004)
    flat = flatten(
        plane_of(light),
        blur_px=8.0,
        settings=FlattenSettings(box_min_px=float(BOX), box_max_px=float(BOX)),
    )
    # Theirs is of the light and takes the slope within a box for scatter, so it is asked about
    # the light over its true background.
    share = theirs((light / clean).astype(np.float32)).background_rms
    ratio = flat.noise_frac[:, :] / share
    # A MAD of 24 x 24 cells is known to 5 %, ours of every second cell both ways to 10 %.
    assert float(np.median(ratio)) == pytest.approx(1, abs=0.04)
    assert float(ratio.std()) < 0.15
