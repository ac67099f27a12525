"""Marks measured, against photutils.

Source: photutils 3.0 (L. Bradley et al., an Astropy project package), installed from PyPI.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from photutils.aperture import CircularAperture, aperture_photometry
from photutils.centroids import centroid_2dg
from photutils.morphology import data_properties

from fields import bell, flat_frame, noisy
from motemap.detect import detect
from motemap.measure import measure_all, owners
from motemap.settings import DetectSettings
from shadows import drawn_field

pytestmark = pytest.mark.external

NOISE_FRAC = 0.0005
HALF_BOX = 11


def test_centres_agree_with_a_fitted_bell() -> None:
    drawn = drawn_field(NOISE_FRAC)
    offsets = []
    for spot in drawn.spots:
        top, left = round(spot.centre.row_px) - HALF_BOX, round(spot.centre.col_px) - HALF_BOX
        side = 2 * HALF_BOX + 1
        box = -drawn.flat.contrast[top : top + side, left : left + side].astype(float)
        col, row = centroid_2dg(box)
        offsets.append((top + row - spot.centre.row_px, left + col - spot.centre.col_px))
    # A fit follows the flanks, a weighted mean the core; of an outline that is not round they
    # differ by hundredths of a cell.
    assert np.abs(offsets).max() < 0.12
    assert np.abs(np.mean(offsets, axis=0)).max() < 0.015


def test_lost_light_agrees_with_an_exact_aperture() -> None:
    drawn = drawn_field(NOISE_FRAC)
    peaks = -drawn.flat.contrast[:, :].astype(float)
    for spot in drawn.spots:
        at = (spot.centre.col_px, spot.centre.row_px)
        table: Any = aperture_photometry(peaks, CircularAperture(at, 1.5 * spot.length_px + 6))
        flux = float(table["aperture_sum"][0])
        # The bright rim reaches into our ring for the level: half of a cell's light.
        assert spot.lost_area_px2 == pytest.approx(flux, rel=0.02, abs=0.5)


@pytest.mark.parametrize("sigma", [1.5, 2.5, 4.0])
def test_width_of_a_bell_agrees_with_its_second_moments(sigma: float) -> None:
    shape = (90, 130)
    dip = bell(shape, 44.3, 60.8, sigma, 0.3)
    flat = flat_frame(dip + noisy(shape, 0.0002, 1), 0.0002)
    found = detect(flat, widest_px=40.0, usual_px=40.0, settings=DetectSettings()).found
    (spot,) = measure_all(flat, found, owners(flat, found))
    properties = data_properties(-dip.astype(float))
    # photutils gives sigma with the variance of the cells, 1/12, still in it.
    wanted = 2.3548 * np.sqrt(float(properties.semimajor_axis.value) ** 2 - 1 / 12)
    assert spot.width_px == pytest.approx(wanted, rel=0.04)
    assert spot.length_px == pytest.approx(wanted, rel=0.04)
