"""What noise leaves of itself in blocks of cosines, and how it is told from a shadow."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy import fft

from fields import bell, bell_shadow, flat_frame, plane_of
from motemap.flatten.blocks import QuietBlocks, cosines, mean_waves, most_by_chance, quiet_blocks
from motemap.records import Cells, Regions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Plane

    Blocks = NDArray[np.float64]

SHAPE = (28, 42)
"""Blocks down and across; one wave in them is less than one in a thousand blocks."""
LEVEL_CODES = 120
CODES = np.full(256, 1 / 256, np.float32)
"""Codes of equal width."""
Q80 = np.outer(np.linspace(6, 20, 8), np.linspace(1, 3, 8)).round().astype(np.float32)
"""Steps about as coarse as those of a JPEG of quality 80."""


def stored(steps: Blocks) -> NDArray[np.float32]:
    """Return the light of a picture, given the whole steps of each block's cosines."""
    waves = fft.idctn(steps * Q80, axes=(2, 3), norm="ortho")
    codes = np.rint(LEVEL_CODES + waves).swapaxes(1, 2)
    light = (codes.reshape(8 * steps.shape[0], -1) + 0.5) / 256
    return light.astype(np.float32)


def pooled(light: NDArray[np.float32], bin_px: int) -> NDArray[np.float32]:
    rows, cols = (side // bin_px for side in light.shape)
    cells: NDArray[np.float32] = light.reshape(rows, bin_px, cols, bin_px).mean(axis=(1, 3))
    return cells


def picture(steps: Blocks, bin_px: int = 1, **changes: Any) -> tuple[Plane, FlatFrame]:
    light = pooled(stored(steps), bin_px)
    plane = plane_of(light, bin_px=bin_px, code_step=CODES)
    flat = flat_frame(np.zeros(light.shape, np.float32), 1e-3, bin_px=bin_px)
    plane = replace(plane, **{"block_step_codes": Q80, **changes})
    return plane, replace(flat, step_frac=np.full(light.shape, 1 / LEVEL_CODES, np.float32))


def even() -> Blocks:
    return np.zeros((*SHAPE, 8, 8))


def regions_at(*sides: tuple[slice, slice]) -> Regions:
    """Return marks that fill boxes of cells."""
    masks = []
    for box in sides:
        masks.append(np.zeros((8 * SHAPE[0], 8 * SHAPE[1]), np.bool_))
        masks[-1][box] = True
    return regions_of(*masks)


def regions_of(*masks: NDArray[np.bool_]) -> Regions:
    cells = Cells.of(masks, [(0, 0)] * len(masks))
    start, stop = cells.sides()
    return Regions(
        cells=cells,
        start=start,
        stop=stop,
        snr=np.full(len(masks), 9.0),
        scale_cell=np.ones(len(masks)),
        thickness_cell=np.full(len(masks), 4.0),
    )


def found(steps: Blocks, *sides: tuple[slice, slice], bin_px: int = 1) -> list[bool]:
    blocks = quiet_blocks(*picture(steps, bin_px), Regions.none())
    assert blocks is not None
    feigned: list[bool] = blocks.feign(regions_at(*sides)).tolist()
    return feigned


def test_cosines_are_those_of_the_standard() -> None:
    blocks = np.random.default_rng(3).normal(size=(5, 3, 8, 8))
    np.testing.assert_allclose(
        cosines(blocks), fft.dctn(blocks, axes=(2, 3), norm="ortho"), atol=1e-12
    )


def test_a_single_wave_is_no_mark_and_two_are_one() -> None:
    steps = even()
    steps[5, 7, 0, 2] = 1
    steps[9, 3, 0, 2] = steps[9, 3, 2, 0] = 1
    # Its dark half lies in the middle of the block.
    assert found(steps, np.s_[40:48, 58:62], np.s_[74:78, 26:30]) == [True, False]


def test_a_step_of_a_blocks_mean_is_no_mark() -> None:
    steps = even()
    steps[5, 7, 0, 0] = -1
    assert found(steps, np.s_[40:48, 56:64]) == [True]


def test_a_wave_of_two_steps_is_no_noise_where_noise_seldom_makes_one() -> None:
    steps = even()
    steps[5, 7, 0, 2] = 2
    assert found(steps, np.s_[40:48, 58:62]) == [False]


def test_what_is_larger_than_two_blocks_is_noise_only_where_these_are_even() -> None:
    steps = even()
    steps[5:7, 7:9, 0, 0] = steps[20:27, 7, 0, 0] = -1
    # A light halfway between two steps of the mean makes squares, but none so large.
    assert found(steps, np.s_[40:56, 56:72], np.s_[160:216, 56:64]) == [True, False]
    steps[5, 7, 0, 1] = 1
    assert found(steps, np.s_[40:56, 56:72]) == [False]


def test_waves_of_all_blocks_that_a_mark_lies_in_count() -> None:
    steps = even()
    steps[5, 7, 0, 1] = 1
    steps[5, 8, 0, 1] = -1
    assert found(steps, np.s_[42:46, 62:66]) == [False]
    assert found(steps, np.s_[42:46, 60:64]) == [True]


def test_cells_of_two_pixels_show_the_slow_waves() -> None:
    steps = even()
    steps[5, 7, 0, 2] = 1
    steps[9, 3, 0, 2] = steps[9, 3, 2, 0] = 1
    assert found(steps, np.s_[20:24, 29:31], np.s_[37:39, 13:15], bin_px=2) == [True, False]


def test_of_a_block_that_the_border_cuts_only_waves_along_it_count() -> None:
    steps = even()
    steps[5, -1, 0, 3] = 1
    steps[9, -1, 0, 3] = steps[9, -1, 2, 0] = 1
    steps[20, -1, 1, 0] = steps[20, -1, 2, 0] = 1
    plane, flat = picture(steps)
    cut = replace(plane, light=plane.light[:-3, :-5], valid=plane.valid[:-3, :-5])
    blocks = quiet_blocks(cut, flat, Regions.none())
    assert blocks is not None
    cols = slice(8 * SHAPE[1] - 8, 8 * SHAPE[1] - 5)
    marks = regions_at((slice(40, 48), cols), (slice(72, 80), cols), (slice(160, 168), cols))
    assert blocks.feign(marks).tolist() == [True, True, False]
    assert blocks.feign(regions_at((slice(216, 221), cols))).all()


def test_without_marks_none_is_feigned() -> None:
    blocks = quiet_blocks(*picture(even()), Regions.none())
    assert blocks is not None
    assert blocks.feign(Regions.none()).shape == (0,)


def test_the_more_waves_there_are_the_more_come_together() -> None:
    # A tenth of a wave in a block, by Poisson's law: e^-0.1 have none, a tenth of that have one.
    assert 1 - np.exp(-0.1) == pytest.approx(0.0952, abs=1e-4)
    assert 1 - 1.1 * np.exp(-0.1) == pytest.approx(0.00468, abs=1e-5)
    assert most_by_chance(0.1, 4200) == 1
    assert most_by_chance(0.1, 4400) == 2
    assert most_by_chance(0.0, 10**6) == 1


def test_of_waves_that_come_by_themselves_the_even_blocks_tell_the_mean() -> None:
    # Half a wave in a block: of 1000 blocks 607 have none, 303 one, 76 two and 13 three.
    n_waves = np.repeat([0, 1, 2, 3], [607, 303, 76, 13])
    assert mean_waves(n_waves) == pytest.approx(0.5, abs=0.01)


def test_waves_in_bands_are_as_many_as_there_are() -> None:
    # Three in each of every fourth block; -ln 0.75 = 0.288 if they came by themselves.
    assert mean_waves(np.array([0, 0, 0, 3])) == pytest.approx(0.75)


def test_waves_of_marks_are_no_noise() -> None:
    steps = even()
    steps[:3, :, 0, 1:4] = 1
    plane, flat = picture(steps)
    dust = regions_at(np.s_[:24, :])
    blocks, all_blocks = (quiet_blocks(plane, flat, marks) for marks in (dust, Regions.none()))
    assert blocks is not None
    assert all_blocks is not None
    assert blocks.mean_waves == 0
    assert all_blocks.mean_waves == pytest.approx(3 * 3 / SHAPE[0])


def test_where_marks_cover_all_blocks_nothing_is_known_of_noise() -> None:
    assert quiet_blocks(*picture(even()), regions_at(np.s_[:, :])) is None


def test_a_wave_in_each_of_two_blocks_is_no_mark_where_one_block_in_six_has_one() -> None:
    # By Poisson's law 19 of all blocks, and 69 of all pairs, have two waves or more by chance.
    steps = even()
    steps[:, ::6, 0, 1] = 1
    steps[5, 7, 0, 1] = steps[5, 8, 0, 2] = steps[9, 3, 0, 2] = steps[9, 3, 2, 0] = 1
    steps[15, 26, 0, 1] = steps[15, 27, 0, 2] = steps[15, 27, 2, 0] = 1
    assert found(steps, np.s_[42:46, 62:66], np.s_[74:78, 26:30]) == [True, False]
    assert found(steps, np.s_[122:126, 214:218]) == [False]


@pytest.mark.parametrize(
    "changes", [{"block_step_codes": None}, {"code_step": None}, {"bin_px": 4}], ids=str
)
def test_what_does_not_come_in_such_blocks_has_none(changes: dict[str, Any]) -> None:
    assert quiet_blocks(*picture(even(), **changes), Regions.none()) is None


def test_noise_in_most_blocks_is_left_to_the_scatter() -> None:
    steps = even()
    steps[np.arange(SHAPE[0]) % 5 > 1, :, 0, 1] = 1
    assert quiet_blocks(*picture(steps), Regions.none()) is None


def test_several_frames_together_have_none() -> None:
    plane, flat = picture(even())
    assert quiet_blocks(plane, replace(flat, step_frac=None), Regions.none()) is None


@pytest.mark.parametrize("sigma_px", [1.5, 2.5])
@pytest.mark.parametrize("waves", [0.0, 0.1, 0.35, 0.9])
def test_a_shadow_as_deep_as_told_is_told_nearly_anywhere(sigma_px: float, waves: float) -> None:
    steps = even()
    blocks = quiet_blocks(*picture(steps), Regions.none())
    assert blocks is not None
    blocks = replace(blocks, mean_waves=waves)
    shadow = bell_shadow(sigma_px)
    deep = blocks.told_codes(shadow.radius_px, shadow.loss_frac)
    # A little deeper and shallower, since codes are rounded, too.
    assert share_told(blocks, sigma_px, 1.15 * deep) > 0.85
    assert share_told(blocks, sigma_px, 0.4 * deep) < 0.3


def share_told(blocks: QuietBlocks, sigma_px: float, depth_codes: float) -> float:
    """Return the share of Gaussian shadows of a depth that are not put down to noise."""
    rng = np.random.default_rng(12)
    told = []
    for _ in range(40):
        row, col = rng.uniform(16, 32, size=2)
        field = bell((48, 64), row, col, sigma_px, depth_codes).astype(np.float64)
        parts = field.reshape(6, 8, 8, 8).swapaxes(1, 2)
        steps = even()
        steps[:6, :8] = np.rint(fft.dctn(parts, axes=(2, 3), norm="ortho") / Q80)
        seen = replace(blocks, light=stored(steps))
        is_dark = LEVEL_CODES + 0.5 - 256 * seen.light > 0.5
        told.append(bool(is_dark.any()) and not seen.feign(regions_of(is_dark)).all())
    return float(np.mean(told))
