"""Marks found and measured, against sep.

Source: sep 1.4 (K. Barbary, "SEP: Source Extraction and Photometry in Python", JOSS 2016),
installed from PyPI; its core is C by other authors.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import sep

from shadows import Drawn, drawn_field, nearest

pytestmark = pytest.mark.external

NOISE_FRAC = 0.003


def extract(drawn: Drawn) -> tuple[np.ndarray[Any, Any], Any]:
    """Return the plane with marks as peaks, and sep's list of objects in it."""
    peaks = np.ascontiguousarray(-drawn.flat.contrast[:, :].astype(np.float64))
    noise_frac = float(drawn.flat.noise_frac[:1, :1].item())
    return peaks, sep.extract(peaks, 3.0, err=noise_frac, minarea=5, deblend_cont=0.01)


def test_both_find_the_same_marks() -> None:
    drawn = drawn_field(NOISE_FRAC)
    _, objects = extract(drawn)
    assert len(objects) == len(drawn.spots) == len(drawn.centres)
    matched = {id(nearest(drawn.spots, one["y"], one["x"])) for one in objects}
    assert len(matched) == len(drawn.spots)


def test_centres_agree() -> None:
    drawn = drawn_field(NOISE_FRAC)
    _, objects = extract(drawn)
    offsets = []
    for one in objects:
        spot = nearest(drawn.spots, one["y"], one["x"])
        offsets.append((spot.centre.row_px - one["y"], spot.centre.col_px - one["x"]))
    # sep weighs all cells above 3 sigma, we those above 0.3 of the depth: an outline that is
    # not round, and noise of a fiftieth of the faintest depth, move the two by hundredths.
    assert np.abs(offsets).max() < 0.06
    assert np.abs(np.mean(offsets, axis=0)).max() < 0.01  # no half cell, no shift


def test_windowed_centres_agree() -> None:
    drawn = drawn_field(NOISE_FRAC)
    peaks, _ = extract(drawn)
    cols, rows = (
        np.array([getattr(spot.centre, name) for spot in drawn.spots])
        for name in ("col_px", "row_px")
    )
    sigmas = np.array([spot.width_px / 2.3548 for spot in drawn.spots])
    window_cols, window_rows, flags = sep.winpos(peaks, cols, rows, sigmas)
    assert not np.any(flags)
    assert np.abs(np.hypot(window_cols - cols, window_rows - rows)).max() < 0.06


def test_lost_light_agrees() -> None:
    drawn = drawn_field(NOISE_FRAC / 6)
    peaks, _ = extract(drawn)
    for spot in drawn.spots:
        reach = 1.5 * spot.length_px + 6
        flux, _, _ = sep.sum_circle(
            peaks, [spot.centre.col_px], [spot.centre.row_px], reach, subpix=0
        )
        # We sum against the level of a ring near by, in which the shadow's bright rim is not
        # quite over; sep sums against zero. That is half of a cell's light at most.
        assert spot.lost_area_px2 == pytest.approx(float(flux[0]), rel=0.02, abs=0.5)
