"""Noise, levels and damage from a sparse look."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from motemap.errors import UnreadableFile
from motemap.load.reduction.samples import StoredSamples
from motemap.load.reduction.survey import survey

SHAPE = (640, 1030)
LEVELS = np.array([[3000.0, 6000.0], [6100.0, 3600.0]])


def samples_of(
    stored: NDArray[np.float64], black: float = 500, period_px: int = 2
) -> StoredSamples:
    codes = stored.round().clip(0, 16383).astype(np.uint16)
    return StoredSamples(
        read_rows=lambda start, stop: codes[start:stop],
        height_px=codes.shape[0],
        width_px=codes.shape[1],
        black=np.full((period_px, period_px), black, np.float32),
        colours=np.zeros((period_px, period_px), np.uint8),
        clip_from=16383,
        full_scale=16383.0,
        is_raw=True,
    )


def noisy(seed: int = 1) -> NDArray[np.float64]:
    """Levels above a black of 500, with a noise of 1 % of the level."""
    level = np.tile(LEVELS, (SHAPE[0] // 2, SHAPE[1] // 2))
    return 500 + level * (1 + 0.01 * np.random.default_rng(seed).standard_normal(SHAPE))


def test_levels_are_per_colour() -> None:
    seen = survey(samples_of(noisy()), 64)
    # The median of 5000 values of 1 % noise is known to 0.02 %.
    np.testing.assert_allclose(seen.phase_level, LEVELS, rtol=1e-3)


def test_noise_is_that_of_single_values() -> None:
    seen = survey(samples_of(noisy()), 64)
    # 10 strips x 2 blocks of 255 differences each: known to about 2 % for each colour.
    np.testing.assert_allclose(np.median(seen.noise, axis=(0, 1)), LEVELS * 0.01, rtol=0.05)


def test_noise_share_is_that_of_all_colours_together() -> None:
    expected = 0.01 * np.sqrt(np.mean(LEVELS**2)) / LEVELS.mean()
    assert survey(samples_of(noisy()), 64).fine_noise_frac == pytest.approx(expected, rel=0.03)


def test_shading_and_defects_do_not_count_as_noise() -> None:
    stored = noisy()
    stored[:] = 500 + (stored - 500) * np.linspace(0.4, 1.0, SHAPE[1])
    stored[np.random.default_rng(3).random(SHAPE) < 1e-3] = 16000
    expected = 0.01 * np.sqrt(np.mean(LEVELS**2)) / LEVELS.mean()
    assert survey(samples_of(stored), 64).fine_noise_frac == pytest.approx(expected, rel=0.03)


def test_coarse_codes_have_at_least_their_hidden_noise() -> None:
    samples = replace(
        samples_of(np.full(SHAPE, 8000.0), black=0, period_px=1),
        code_light=np.linspace(0, 1, 256, dtype=np.float32),
    )
    # Steps of 1/255 of 16383 are 64.2 codes; 0.6 of that.
    assert survey(samples, 64).noise.min() == pytest.approx(38.5, rel=0.01)


def test_share_at_black_is_counted() -> None:
    stored = noisy()
    stored[:, :103] = 500
    stored[::2, :103] = 501  # noise enough not to be damage
    assert survey(samples_of(stored), 64).black_frac == pytest.approx(0.05, abs=0.001)


@pytest.mark.parametrize("value", [0.0, 500.0])
def test_a_frame_of_zeros_is_refused(value: float) -> None:
    with pytest.raises(UnreadableFile, match="holds no light"):
        survey(samples_of(np.full(SHAPE, value)), 64)


@pytest.mark.parametrize("value", [0.0, 500.0, 7777.0])
def test_a_missing_end_is_refused(value: float) -> None:
    stored = noisy()
    stored[500:] = value
    with pytest.raises(UnreadableFile, match="cut off"):
        survey(samples_of(stored), 64)


def test_missing_tiles_are_refused() -> None:
    stored = noisy()
    stored[64:256, :520] = 0
    with pytest.raises(UnreadableFile, match="15 %"):
        survey(samples_of(stored), 64)


def test_a_clipped_end_is_no_damage() -> None:
    stored = noisy()
    stored[400:] = 16383
    assert survey(samples_of(stored), 64).black_frac == 0


def test_a_picture_without_noise_is_no_damage() -> None:
    stored = np.full(SHAPE, 5000.0)
    stored[100:140, 200:240] = 4000
    assert survey(samples_of(stored), 64).fine_noise_frac == 0


def test_a_dark_frame_with_noise_is_readable() -> None:
    # A cap left on: the noise lies round the black level, half of it below.
    stored = np.random.default_rng(1).normal(500, 4, SHAPE)
    assert survey(samples_of(stored), 64).black_frac == pytest.approx(0.55, abs=0.05)
