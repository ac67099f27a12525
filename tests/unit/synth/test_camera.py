"""Noise, defects, black level, curve: what the photosites and the camera add."""

import numpy as np
import pytest

from motemap.errors import SettingsError
from motemap.synth.camera import (
    PictureSpec,
    SensorSpec,
    code_noise_frac,
    curve_value,
    develop,
    digitise,
    encode,
    expose,
    noise_of,
    srgb_encode,
)

SHAPE = (220, 310)


def even(level: float = 0.5) -> np.ndarray:
    return np.full(SHAPE, level, dtype=np.float32)


@pytest.mark.parametrize("iso", [100.0, 1600.0])
def test_noise_is_that_of_the_electrons(iso: float) -> None:
    sensor = SensorSpec(iso=iso, full_well_e=50000.0, read_noise_e=3.0, prnu_frac=0.0)
    exposed = expose(even(), sensor, np.random.default_rng(1))
    electrons = 25000.0 * 100.0 / iso
    expected = np.sqrt(electrons + 9.0) / electrons
    # 68 200 samples: their deviation is known to 0.3 %
    assert exposed.std() / exposed.mean() == pytest.approx(expected, rel=0.01)
    assert noise_of(even(), sensor) == pytest.approx(expected, rel=1e-4)


def test_full_well_of_50k_has_published_shot_noise() -> None:
    # derived: 0.45 % a pixel at a full well of 50 000 electrons
    sensor = SensorSpec(read_noise_e=0.0, prnu_frac=0.0)
    assert float(noise_of(even(1.0), sensor)[0, 0]) == pytest.approx(0.0045, abs=0.00005)


def test_response_differs_between_photosites_and_stays() -> None:
    sensor = SensorSpec(full_well_e=1e9, read_noise_e=0.0, prnu_frac=0.01)
    exposed = expose(even(), sensor, np.random.default_rng(1))
    assert exposed.std() / exposed.mean() == pytest.approx(0.01, rel=0.02)


def test_hot_dead_and_clustered_pixels_are_there() -> None:
    quiet = SensorSpec(full_well_e=1e9, read_noise_e=0.0, prnu_frac=0.0)
    spoiled = SensorSpec(
        full_well_e=1e9, read_noise_e=0.0, prnu_frac=0.0, n_hot=30, n_dead=20, n_clusters=5
    )
    before = expose(even(), quiet, np.random.default_rng(1))
    after = expose(even(), spoiled, np.random.default_rng(1))
    assert 40 < (np.abs(after - before) > 0.01).sum() <= 30 + 20 + 5 * 4
    assert (after - before).max() > 0.1
    assert (after - before).min() < -0.1


def test_phase_detect_photosites_lie_on_rows() -> None:
    sensor = SensorSpec(
        full_well_e=1e9, read_noise_e=0.0, prnu_frac=0.0, phase_frac=-0.02, phase_period_px=10
    )
    exposed = expose(even(), sensor, np.random.default_rng(1))
    rows = np.flatnonzero(exposed.mean(axis=1) < 0.499)
    assert list(rows) == list(range(5, SHAPE[0], 10))


def test_stored_values_start_at_black_and_clip_at_white() -> None:
    sensor = SensorSpec(black=512, white=16383)
    light = np.array([[0.0, 0.5, 1.0, 1.4, -1.0]], dtype=np.float32)
    assert digitise(light, sensor).tolist() == [[512, 8448, 16383, 16383, 0]]


@pytest.mark.parametrize(
    ("light", "code"), [(0.0, 0), (0.181164, 118), (0.215861, 128), (0.502886, 188), (1.0, 255)]
)
def test_srgb_values(light: float, code: int) -> None:
    # IEC 61966-2-1, values worked out from its formula
    assert 255 * float(srgb_encode(np.array(light))) == pytest.approx(code, abs=0.01)


def test_steep_curve_is_steeper_in_the_middle_and_whole_at_the_ends() -> None:
    lights = np.array([0.0, 0.18, 0.22, 1.0])
    srgb, steep = curve_value(lights, "srgb"), curve_value(lights, "steep")
    assert steep[0] == 0.0
    assert steep[3] == pytest.approx(1.0)
    assert (steep[2] - steep[1]) / steep[1] > 1.05 * (srgb[2] - srgb[1]) / srgb[1]
    rising = curve_value(np.linspace(0, 1, 999), "steep")
    assert (np.diff(rising) > 0).all()


@pytest.mark.parametrize(("bits", "top", "kind"), [(8, 255, np.uint8), (16, 65535, np.uint16)])
def test_codes_fill_their_bits(bits: int, top: int, kind: type) -> None:
    picture = PictureSpec(bits=8 if bits == 8 else 16)
    codes = encode(np.array([[0.0, 0.502886, 2.0]], dtype=np.float32), picture)
    assert codes.dtype == kind
    assert codes[0, 0] == 0
    assert codes[0, 1] == pytest.approx(188 / 255 * top, abs=0.003 * top)
    assert codes[0, 2] == top


def test_rounding_noise_of_one_code() -> None:
    # derived: at code 200 one code is 1.12 % of the light; rounding spreads 1/sqrt(12) of it
    assert code_noise_frac(0.577580, PictureSpec()) == pytest.approx(0.0112 / 12**0.5, rel=0.01)


def test_smoothing_lowers_the_noise_and_keeps_the_level() -> None:
    noisy = (0.5 + 0.01 * np.random.default_rng(2).standard_normal(SHAPE)).astype(np.float32)
    soft = develop(noisy.copy(), PictureSpec(smoothing_px=0.7))
    # a Gaussian of sigma s leaves 1 / (2 sqrt(pi) s) of white noise; 0.7 px is coarse: 5 %
    assert soft.std() == pytest.approx(0.01 / (2 * np.pi**0.5 * 0.7), rel=0.05)
    assert soft.mean() == pytest.approx(0.5, abs=1e-4)


def test_sharpening_raises_the_noise() -> None:
    noisy = (0.5 + 0.01 * np.random.default_rng(2).standard_normal(SHAPE)).astype(np.float32)
    plain = develop(noisy.copy(), PictureSpec())
    assert develop(noisy, PictureSpec(sharpening_frac=0.8)).std() > 1.2 * plain.std()


def test_shrinking_averages_whole_blocks() -> None:
    light = np.arange(35, dtype=np.float32).reshape(5, 7)
    small = develop(light, PictureSpec(smoothing_px=0.0, shrink=2))
    assert small.tolist() == [[4.0, 6.0, 8.0], [18.0, 20.0, 22.0]]


def test_refuses_to_shrink_by_nothing() -> None:
    with pytest.raises(SettingsError, match="shrunk by 0"):
        PictureSpec(shrink=0)
