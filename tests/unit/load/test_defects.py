"""Hot and dead pixels go, shadows stay."""

import numpy as np
import pytest
from numpy.typing import NDArray

from motemap.load.reduction.defects import CANDIDATE_SIGMA, MARGIN_PX, Defects, find_defects
from motemap.load.reduction.padding import PaddedStrips

SHAPE = (60, 84)
LEVEL, NOISE = 8000.0, 50.0
OVERSAMPLING = 8

Field = NDArray[np.float64]


def field(seed: int = 4) -> Field:
    return np.random.default_rng(seed).normal(LEVEL, NOISE, SHAPE)


NO_BLACK = np.zeros((1, 1), np.float32)


def found(
    values: Field, *, has_photosites: bool = False, black: NDArray[np.float32] = NO_BLACK
) -> Defects:
    codes = values.round().clip(0, 65535).astype(np.uint16)
    threshold = np.full((1, SHAPE[1]), CANDIDATE_SIGMA * NOISE, dtype=np.uint16)
    strips = PaddedStrips(lambda start, stop: codes[start:stop], SHAPE, MARGIN_PX)
    padded = strips.strip(0, SHAPE[0])
    return find_defects(padded, threshold, black, has_photosites=has_photosites)


def mosaic(light: Field, black: NDArray[np.float32]) -> Field:
    """Turn a field into stored values of colours that differ, on levels of black that do."""
    n_rows, n_cols = (n // 2 for n in SHAPE)
    return np.asarray(light * np.tile(TINT, (n_rows, n_cols)) + np.tile(black, (n_rows, n_cols)))


TINT = np.array([[0.45, 1.0], [1.0, 0.6]])
BLACKS = [
    np.zeros((2, 2), np.float32),
    np.full((2, 2), 2047, np.float32),
    np.array([[3000, 1000], [900, 5000]], np.float32),
]


def places(defects: Defects) -> set[tuple[int, int]]:
    return {(int(row), int(col)) for row, col in zip(defects.rows, defects.cols, strict=True)}


def disc(diameter_px: float, row: float, col: float) -> Field:
    """Share of each pixel that a disc covers, area-sampled."""
    fine = (np.arange(SHAPE[0] * OVERSAMPLING) + 0.5) / OVERSAMPLING - 0.5
    wide = (np.arange(SHAPE[1] * OVERSAMPLING) + 0.5) / OVERSAMPLING - 0.5
    inside = np.hypot(fine[:, None] - row, wide - col) < diameter_px / 2
    cells = inside.reshape(SHAPE[0], OVERSAMPLING, SHAPE[1], OVERSAMPLING)
    return np.asarray(cells.mean(axis=(1, 3)), dtype=np.float64)


def test_noise_alone_has_no_defects() -> None:
    assert len(found(field()).rows) == 0


@pytest.mark.parametrize("value", [0.0, 6000.0, 10000.0, 16383.0])
@pytest.mark.parametrize("at", [(0, 0), (30, 41), (59, 83), (1, 82)])
def test_a_lone_pixel_is_found_and_repaired(value: float, at: tuple[int, int]) -> None:
    values = field()
    values[at] = value

    defects = found(values)

    assert places(defects) == {at}
    # The mean of eight neighbours has a noise of 50 / sqrt(8) = 18; five of that.
    assert abs(float(defects.repaired[0]) - LEVEL) < 90


@pytest.mark.parametrize("shape", [(1, 2), (2, 1), (2, 2), (1, 3), (3, 1), (3, 2), (3, 3)])
@pytest.mark.parametrize("value", [0.0, 12000.0])
@pytest.mark.parametrize("has_photosites", [False, True])
def test_small_clusters_are_found_whole(
    shape: tuple[int, int],
    value: float,
    *,
    has_photosites: bool,
) -> None:
    values = field()
    values[20 : 20 + shape[0], 31 : 31 + shape[1]] = value

    defects = found(values, has_photosites=has_photosites)

    assert places(defects) == {
        (20 + row, 31 + col) for row in range(shape[0]) for col in range(shape[1])
    }
    np.testing.assert_allclose(defects.repaired, LEVEL, atol=5 * NOISE)


@pytest.mark.parametrize("black", BLACKS, ids=["none", "2047", "uneven"])
@pytest.mark.parametrize("shape", [(2, 2), (2, 3), (3, 2), (3, 3)])
@pytest.mark.parametrize("at", [(20, 31), (21, 31), (20, 30), (21, 30)])
@pytest.mark.parametrize("left_frac", [0.0, 0.3])
def test_dead_clusters_are_no_shadows_whatever_the_black_level(
    black: NDArray[np.float32], shape: tuple[int, int], at: tuple[int, int], left_frac: float
) -> None:
    light = field()
    light[at[0] : at[0] + shape[0], at[1] : at[1] + shape[1]] *= left_frac

    defects = found(mosaic(light, black), has_photosites=True, black=black)

    assert places(defects) == {
        (at[0] + row, at[1] + col) for row in range(shape[0]) for col in range(shape[1])
    }


@pytest.mark.parametrize("black", BLACKS, ids=["none", "2047", "uneven"])
@pytest.mark.parametrize("width_px", [1.8, 2.6, 3.4])
@pytest.mark.parametrize("offset", [(0.0, 0.0), (1.0, 0.0), (0.5, 0.5), (1.2, -0.4)])
def test_a_narrow_shadow_stays_whatever_the_black_level(
    black: NDArray[np.float32], width_px: float, offset: tuple[float, float]
) -> None:
    shadow = 1 - 0.6 * bell(width_px, 30 + offset[0], 41 + offset[1])
    values = mosaic(field() * shadow, black)
    assert places(found(values, has_photosites=True, black=black)) == set()


@pytest.mark.parametrize("apart", [(0, 2), (2, 0), (2, 2), (2, -2), (0, 4), (4, 2)])
@pytest.mark.parametrize("values_of_pair", [(16383.0, 16383.0), (0.0, 0.0), (12000.0, 9500.0)])
def test_two_defects_of_one_colour_side_by_side_are_found(
    apart: tuple[int, int], values_of_pair: tuple[float, float]
) -> None:
    values = field()
    pair = (30, 41), (30 + apart[0], 41 + apart[1])
    for at, value in zip(pair, values_of_pair, strict=True):
        values[at] = value
    assert places(found(values)) == set(pair)


@pytest.mark.parametrize("width_px", [4.0, 6.0])
@pytest.mark.parametrize("angle_deg", [0, 20, 45, 90])
def test_a_thin_fibre_stays(width_px: float, angle_deg: float) -> None:
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]]
    turn = np.radians(angle_deg)
    across = (rows - 30.2) * np.cos(turn) - (cols - 41.3) * np.sin(turn)
    fibre = 1 - 0.5 * np.exp(-4 * np.log(2) * across**2 / width_px**2)
    assert places(found(field() * fibre)) == set()


@pytest.mark.parametrize("diameter_px", [4.0, 4.6, 5.0, 6.0, 9.0])
@pytest.mark.parametrize("depth_frac", [0.1, 0.6, 0.9])
@pytest.mark.parametrize("offset", [(0.0, 0.0), (0.5, 0.5), (0.2, -0.4)])
def test_the_core_of_a_small_shadow_stays(
    diameter_px: float, depth_frac: float, offset: tuple[float, float]
) -> None:
    shadow = 1 - depth_frac * disc(diameter_px, 30 + offset[0], 41 + offset[1])
    assert places(found(field() * shadow)) == set()


@pytest.mark.parametrize("width_px", [4.0, 6.0])
@pytest.mark.parametrize("depth_frac", [0.2, 0.6])
def test_a_soft_shadow_stays(width_px: float, depth_frac: float) -> None:
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]]
    spread = (rows - 30.3) ** 2 + (cols - 41.1) ** 2
    shadow = 1 - depth_frac * np.exp(-4 * np.log(2) * spread / width_px**2)
    assert places(found(field() * shadow)) == set()


def bell(width_px: float, row: float, col: float) -> Field:
    """A dip of this width at half depth, averaged over each pixel."""
    fine = (np.arange(OVERSAMPLING) + 0.5) / OVERSAMPLING - 0.5
    down, across = (np.add.outer(np.arange(n), fine).ravel() for n in SHAPE)
    spread = (down[:, None] - row) ** 2 + (across - col) ** 2
    dip = np.exp(-4 * np.log(2) * spread / width_px**2)
    cells = dip.reshape(SHAPE[0], OVERSAMPLING, SHAPE[1], OVERSAMPLING)
    return np.asarray(cells.mean(axis=(1, 3)), dtype=np.float64)


@pytest.mark.parametrize("width_px", [1.8, 2.2, 2.6, 3.0, 3.4])
@pytest.mark.parametrize("depth_frac", [0.1, 0.3, 0.6, 0.9])
@pytest.mark.parametrize("offset", [(0.0, 0.0), (0.5, 0.5), (0.5, 0.0), (0.2, -0.4)])
def test_photosites_show_a_narrow_shadow_as_one(
    width_px: float, depth_frac: float, offset: tuple[float, float]
) -> None:
    shadow = 1 - depth_frac * bell(width_px, 30 + offset[0], 41 + offset[1])
    assert places(found(field() * shadow, has_photosites=True)) == set()


def test_what_is_smeared_may_be_a_defect() -> None:
    values = field() * (1 - 0.6 * bell(2.2, 30, 41))
    assert (30, 41) in places(found(values))


def test_a_hot_pixel_is_no_shadow_however_it_is_smeared() -> None:
    values = field() * (1 + 0.6 * bell(2.2, 30, 41))
    assert (30, 41) in places(found(values, has_photosites=True))


def test_a_dead_pixel_inside_a_wide_shadow_goes_alone() -> None:
    values = field() * (1 - 0.5 * disc(20, 30, 41))
    values[31, 40] = 0

    defects = found(values)

    assert places(defects) == {(31, 40)}
    assert abs(float(defects.repaired[0]) - LEVEL / 2) < 90


def test_an_edge_is_no_defect() -> None:
    values = field()
    values[:, 40:] *= 0.4
    assert places(found(values)) == set()


def test_a_texture_everywhere_is_left_alone() -> None:
    values = field()
    values[::5, ::7] += 4000  # one pixel in 35, far more than any sensor has
    assert places(found(values)) == set()
