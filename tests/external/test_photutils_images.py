"""Flattening, detecting and measuring, on images that photutils drew from a table.

Source: photutils 3.0 ``datasets.make_model_image`` with astropy's ``Gaussian2D``, installed from
PyPI: another program's drawing, its table the truth.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from astropy.modeling.models import Gaussian2D
from astropy.table import QTable
from photutils.datasets import make_model_image

from fields import plane_of, uneven_light
from motemap.flatten import flatten
from motemap.pipeline.finding import find_marks
from motemap.pipeline.known_optics import KnownOptics
from motemap.settings import Settings

if TYPE_CHECKING:
    from motemap.records import MeasuredSpot

pytestmark = pytest.mark.external

SHAPE = (690, 1030)
SPACING_PX = 84.0
JITTER_PX = 26.0
NOISE_FRAC = 0.002
FWHM_PER_SIGMA = 2.3548
OPTICS = KnownOptics(f_number=22.0, pitch_um=6.0)


@lru_cache(maxsize=1)
def table() -> QTable:
    """Return bells of 3 to 40 % depth, 3 to 5 px sigma, strewn so that no rows line up."""
    rng = np.random.default_rng(8)
    rows, cols = np.meshgrid(np.arange(7), np.arange(11), indexing="ij")
    n_spots = rows.size
    truth = QTable()
    truth["x_mean"] = 95.0 + SPACING_PX * cols.ravel() + rng.uniform(-JITTER_PX, JITTER_PX, n_spots)
    truth["y_mean"] = 93.0 + SPACING_PX * rows.ravel() + rng.uniform(-JITTER_PX, JITTER_PX, n_spots)
    truth["amplitude"] = -np.exp(rng.uniform(np.log(0.03), np.log(0.4), n_spots))
    truth["x_stddev"] = rng.uniform(3.0, 5.0, n_spots)
    truth["y_stddev"] = truth["x_stddev"]
    truth["theta"] = np.zeros(n_spots)
    return truth


@lru_cache(maxsize=1)
def spots() -> tuple[MeasuredSpot, ...]:
    """Return what is found in the drawn image on an uneven field."""
    dips = make_model_image(
        SHAPE, Gaussian2D(), table(), model_shape=(51, 51), x_name="x_mean", y_name="y_mean"
    )
    grain = np.random.default_rng(9).normal(0.0, NOISE_FRAC, SHAPE)
    light = (uneven_light(SHAPE, vignetting=0.2, tilt=0.05) * (1.0 + dips) * (1.0 + grain)).astype(
        np.float32
    )
    settings = Settings()
    plane = plane_of(light)
    flat = flatten(plane, blur_px=OPTICS.blur_px(), settings=settings.flatten)
    return find_marks(plane, flat, OPTICS, None, settings).spots


def nearest(spot: MeasuredSpot) -> tuple[int, float]:
    """Return which row of the table a spot is nearest to, and how far [px]."""
    away = np.hypot(
        np.asarray(table()["x_mean"]) - spot.centre.col_px,
        np.asarray(table()["y_mean"]) - spot.centre.row_px,
    )
    return int(away.argmin()), float(away.min())


def test_every_row_of_the_table_is_found_once_and_nothing_else() -> None:
    assert sorted(nearest(spot)[0] for spot in spots()) == list(range(len(table())))


def test_centres_are_those_of_the_table() -> None:
    away_px = np.array([nearest(spot)[1] for spot in spots()])
    # Noise moves the centre of a 3 % bell by some sigma / snr = 4 / 200 px; binning is off.
    assert np.median(away_px) < 0.06
    assert away_px.max() < 0.3


def test_depths_are_those_of_the_table() -> None:
    ratios = [spot.depth_frac / -float(table()["amplitude"][nearest(spot)[0]]) for spot in spots()]
    assert np.median(ratios) == pytest.approx(1.0, abs=0.04)
    assert np.ptp(ratios) < 0.25


def test_widths_are_those_of_the_table() -> None:
    ratios = [
        spot.width_px / (FWHM_PER_SIGMA * float(table()["x_stddev"][nearest(spot)[0]]))
        for spot in spots()
    ]
    assert np.median(ratios) == pytest.approx(1.0, abs=0.04)
    assert np.ptp(ratios) < 0.3


def test_lost_light_is_that_of_the_table() -> None:
    ratios = []
    for spot in spots():
        row = table()[nearest(spot)[0]]
        true_px2 = 2 * np.pi * -float(row["amplitude"]) * float(row["x_stddev"]) ** 2
        ratios.append(spot.lost_area_px2 / true_px2)
    assert np.median(ratios) == pytest.approx(1.0, abs=0.06)
