"""From stored values to the plane: level colours, true scale, honest masks."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from motemap.load.reduction.reduce import reduce_samples
from motemap.load.reduction.samples import StoredSamples, allowed_bin
from motemap.synth.files import Cfa, cfa_pattern

SHAPE = (302, 407)
FULL_WELL_E = 40000.0
BLACK, WHITE = 512, 16383
COLOUR_LEVEL = np.array([0.45, 0.9, 0.55])
"""Red, green and blue of the field, as shares of the full well."""

CFAS: tuple[Cfa, ...] = ("RGGB", "GRBG", "GBRG", "BGGR", "XTRANS", "MONO")


def samples_of(codes: NDArray[np.uint16], cfa: Cfa, black: float = BLACK) -> StoredSamples:
    pattern = cfa_pattern(cfa)
    return StoredSamples(
        read_rows=lambda start, stop: codes[start:stop],
        height_px=codes.shape[0],
        width_px=codes.shape[1],
        black=np.full(pattern.shape, black, np.float32),
        colours=pattern,
        clip_from=WHITE,
        full_scale=float(WHITE),
        is_raw=True,
    )


def stored(cfa: Cfa, field: NDArray[np.float64] | float = 1.0, seed: int = 3) -> NDArray[np.uint16]:
    """Codes of a field of that brightness, with the noise of its electrons."""
    pattern = cfa_pattern(cfa)
    repeats = [-(-side // len(pattern)) for side in SHAPE]
    level = COLOUR_LEVEL[np.tile(pattern, repeats)[: SHAPE[0], : SHAPE[1]]]
    electrons = np.random.default_rng(seed).poisson(level * field * FULL_WELL_E)
    codes = BLACK + electrons * ((WHITE - BLACK) / FULL_WELL_E)
    return codes.round().clip(0, WHITE).astype(np.uint16)


def whole(plane_side_px: int, bin_px: int) -> int:
    return plane_side_px // bin_px


@pytest.mark.parametrize("cfa", CFAS)
@pytest.mark.parametrize("wished_px", [2, 4, 6])
def test_no_grain_of_the_mosaic_is_left(cfa: Cfa, wished_px: int) -> None:
    samples = samples_of(stored(cfa), cfa)
    bin_px = allowed_bin(wished_px, samples)

    plane = reduce_samples(samples, bin_px)

    # Electrons of all pixels of a cell together set the noise that no program can beat.
    level = COLOUR_LEVEL[cfa_pattern(cfa)].mean()
    limit = 1 / np.sqrt(level * FULL_WELL_E * bin_px**2)
    spread = float(np.std(plane.light) / np.mean(plane.light))
    # Over 1000 cells and more the spread is known to 3 %; rounding of codes adds under 1 %.
    assert spread == pytest.approx(limit, rel=0.08)
    assert plane.fine_noise_frac / bin_px == pytest.approx(limit, rel=0.05)
    assert plane.light.shape == (whole(SHAPE[0], bin_px), whole(SHAPE[1], bin_px))


@pytest.mark.parametrize("cfa", CFAS)
def test_one_is_where_the_brightest_colour_clips(cfa: Cfa) -> None:
    plane = reduce_samples(samples_of(stored(cfa), cfa), 6)
    # Green fills 0.9 of the well; monochrome pixels are drawn as green.
    assert float(np.median(plane.light)) == pytest.approx(0.9, rel=2e-3)


def test_black_is_taken_off_each_colour() -> None:
    black = np.array([[500, 540], [520, 600]], np.float32)
    light = np.array([[2000, 4000], [4000, 3000]], np.float32)
    field = np.ones(SHAPE)
    field[:, 200:] = 0.5
    tiled = np.tile(light, (151, 204))[:, :407] * field + np.tile(black, (151, 204))[:, :407]
    samples = replace(samples_of(tiled.astype(np.uint16), "RGGB"), black=black)

    plane = reduce_samples(samples, 2)

    # Halved light is halved only when each colour's own black level was taken off.
    np.testing.assert_allclose(plane.light[:, 150] / plane.light[:, 20], 0.5, rtol=1e-6)


def test_a_shadow_keeps_its_depth_in_every_colour() -> None:
    field = np.ones(SHAPE)
    field[120:180, 120:240] = 0.7

    for cfa in CFAS:
        plane = reduce_samples(samples_of(stored(cfa, field), cfa), 6)
        depth = 1 - np.mean(plane.light[21:29, 21:39]) / np.mean(plane.light[:18])
        # 144 cells of 0.14 % noise: known to 0.02 %.
        assert depth == pytest.approx(0.3, abs=1e-3), cfa


def test_cells_with_clipped_pixels_are_not_valid() -> None:
    codes = stored("GRBG")
    codes[100:140, 200:240] = WHITE

    plane = reduce_samples(samples_of(codes, "GRBG"), 4)

    expected = np.ones_like(plane.valid)
    expected[25:35, 50:60] = False
    np.testing.assert_array_equal(plane.valid, expected)
    assert plane.clipped_frac == pytest.approx(1600 / codes.size)
    assert float(plane.light.max()) <= 1.0 + 1e-6


@pytest.mark.parametrize("cfa", CFAS)
def test_defects_leave_neither_trace_nor_hole(cfa: Cfa) -> None:
    codes = stored(cfa)
    rng = np.random.default_rng(8)
    rows, cols = (rng.integers(0, side, 60) for side in SHAPE)
    clean = reduce_samples(samples_of(codes, cfa), 6)
    spoiled = codes.copy()
    spoiled[rows, cols] = np.where(rng.random(60) < 0.5, WHITE, 0)

    plane = reduce_samples(samples_of(spoiled, cfa), 6)

    assert 58 <= plane.defect_count <= 64
    assert plane.valid.all()
    assert plane.clipped_frac == 0
    # One repaired pixel of 36: a change below the noise of a cell.
    noise = clean.fine_noise_frac / 6
    assert float(np.abs(plane.light / clean.light - 1).max()) < 2 * noise


def test_the_field_is_not_written_to() -> None:
    codes = stored("XTRANS")
    codes[50, 50] = WHITE
    before = codes.copy()
    plane = reduce_samples(samples_of(codes, "XTRANS"), 3)
    np.testing.assert_array_equal(codes, before)
    assert not plane.light.flags.writeable
    assert not plane.valid.flags.writeable


def test_masked_strips_are_marked_and_keep_their_place() -> None:
    codes = stored("RGGB")
    codes[:, :9] = BLACK + 3
    codes[-6:] = BLACK - 2

    plane = reduce_samples(samples_of(codes, "RGGB"), 4)

    assert not plane.valid[:, :3].any()
    assert not plane.valid[74:].any()
    assert plane.valid[:74, 3:].all()
    assert plane.light.shape == (75, 101)


def test_vignetting_is_no_masked_strip() -> None:
    rows, cols = (np.linspace(-1, 1, side) for side in SHAPE)
    field = 1 - 0.35 * (rows[:, None] ** 2 + cols**2)
    plane = reduce_samples(samples_of(stored("GBRG", field), "GBRG"), 4)
    assert plane.valid.all()


@pytest.mark.parametrize("shape", [(16, 23), (22, 17)])
def test_tiny_pictures_are_taken(shape: tuple[int, int]) -> None:
    codes = np.full(shape, 9000, np.uint16)
    plane = reduce_samples(samples_of(codes, "MONO", black=0), 3)
    assert plane.light.shape == (shape[0] // 3, shape[1] // 3)
    np.testing.assert_allclose(plane.light, 9000 / WHITE, rtol=1e-6)
