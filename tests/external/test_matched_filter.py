"""Detection efficiency, against the closed form of the matched filter.

Sources: D. O. North (1943) and any book on detection, for instance S. M. Kay, Fundamentals of
Statistical Signal Processing II, 1998, chapter 4: the share found is ``Phi(snr - T)``. Number of
maxima of a smooth random field above a high level: R. J. Adler, The Geometry of Random Fields,
1981, chapter 6. Both from memory, and both held against drawn noise here before use.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from accuracy_parts.limit import (
    Efficiency,
    false_maxima,
    fit_efficiency,
    slope_power_px2,
    threshold_for,
)
from scipy import ndimage
from scipy.stats import norm

from fields import bell, flat_frame, noisy
from motemap.detect import detect
from motemap.settings import DetectSettings

pytestmark = pytest.mark.external

SIGMA = 2.2
"""Of a bell-shaped shadow 5 cells wide."""
NOISE_FRAC = 0.003
SPACING = 40
ROWS, COLS = 9, 14
SHAPE = (ROWS * SPACING, COLS * SPACING)
FALSE_PER_FRAME = 0.1
REACH_CELLS = 2.5


def test_slope_of_a_bell_is_the_textbook_one() -> None:
    # The filter's output has the autocorrelation of a bell of sqrt(2) sigma: slopes 1/(2 sigma^2).
    shape = bell((61, 61), 30.0, 30.0, SIGMA, 1.0).astype(np.float64)
    # Averaging over a cell widens the bell: sigma^2 grows by 1/12, here by 1.7 %.
    assert slope_power_px2(shape) == pytest.approx(1 / (2 * SIGMA**2), rel=0.03)


@pytest.mark.parametrize("threshold", [3.0, 3.5, 4.0])
def test_noise_has_as_many_maxima_as_the_closed_form_says(threshold: float) -> None:
    field = ndimage.gaussian_filter(
        np.random.default_rng(3).standard_normal((2300, 3100)), SIGMA, mode="wrap"
    )
    field /= field.std()
    top = (field == ndimage.maximum_filter(field, 3, mode="wrap")) & (field > threshold)
    wanted = false_maxima(threshold, field.size, 1 / (2 * SIGMA**2))
    counted = int(top.sum())
    # Counting error, and what the high-level formula leaves out at 3 sigma (some per cent).
    assert counted == pytest.approx(wanted, abs=3 * math.sqrt(wanted) + 0.08 * wanted)


def test_threshold_and_number_of_maxima_undo_each_other() -> None:
    slope = 1 / (2 * SIGMA**2)
    threshold = threshold_for(FALSE_PER_FRAME, 24e6, slope)
    assert false_maxima(threshold, 24e6, slope) == pytest.approx(FALSE_PER_FRAME)
    assert 5.0 < threshold < 6.0


def test_efficiency_is_fitted_back() -> None:
    rng = np.random.default_rng(5)
    snr = rng.uniform(2.0, 12.0, 4000)
    found = rng.uniform(size=snr.size) < norm.cdf(0.8 * (snr - 6.5))
    fitted = fit_efficiency(snr, found)
    assert fitted.half_snr == pytest.approx(6.5, abs=0.12)
    assert fitted.slope == pytest.approx(0.8, rel=0.1)
    assert fitted.snr_for(0.95) == pytest.approx(6.5 + norm.ppf(0.95) / 0.8, abs=0.25)


def found_at(snr: float, seed: int) -> float:
    """Return the share of bells of a given signal to noise that `detect` finds."""
    unit = bell((41, 41), 20.3, 20.1, SIGMA, 1.0).astype(np.float64)
    depth = snr * NOISE_FRAC / math.sqrt(float((unit**2).sum()))
    contrast = noisy(SHAPE, NOISE_FRAC, seed)
    places = [
        ((i + 0.5) * SPACING + 0.3, (j + 0.5) * SPACING + 0.1)
        for i in range(ROWS)
        for j in range(COLS)
    ]
    for row, col in places:
        contrast += bell(SHAPE, row, col, SIGMA, depth)
    settings = DetectSettings(depth_min_frac=1e-5)
    detection = detect(
        flat_frame(contrast, NOISE_FRAC), widest_px=20.0, usual_px=8.0, settings=settings
    )
    centres = np.array(
        [
            (region.top_cell + row, region.left_cell + col)
            for region in detection.regions
            for row, col in [ndimage.center_of_mass(region.mask)]
        ]
    ).reshape(-1, 2)
    near = [bool((np.hypot(*(centres - place).T) < REACH_CELLS).any()) for place in places]
    return float(np.mean(near))


def test_detection_follows_the_matched_filter_at_half_again_its_threshold_or_less() -> None:
    levels = np.array([4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 11.0])
    shares = np.array([found_at(snr, seed=40 + i) for i, snr in enumerate(levels)])
    n_each = ROWS * COLS
    snr = np.repeat(levels, n_each)
    found = np.concatenate([np.arange(n_each) < round(share * n_each) for share in shares])
    fitted = fit_efficiency(snr, found)
    limit = Efficiency(half_snr=threshold_for(FALSE_PER_FRAME, 24e6, 1 / (2 * SIGMA**2)))
    assert fitted.half_snr > DetectSettings().snr_min * 0.95, "below its own threshold"
    assert fitted.half_snr / limit.half_snr < 1.5
    assert fitted.snr_for(0.95) / limit.snr_for(0.95) < 1.5


def test_nothing_is_found_where_nothing_is() -> None:
    for seed in range(4):
        contrast = noisy((600, 900), NOISE_FRAC, 70 + seed)
        detection = detect(
            flat_frame(contrast, NOISE_FRAC),
            widest_px=20.0,
            usual_px=8.0,
            settings=DetectSettings(depth_min_frac=1e-5),
        )
        assert detection.regions == ()
