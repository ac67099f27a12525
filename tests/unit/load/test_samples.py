"""Which cells a mosaic allows, and rows with a margin."""

import numpy as np
import pytest

from motemap.load.reduction.samples import (
    StoredSamples,
    allowed_bin,
    strip_height,
)
from motemap.synth.files import Cfa, cfa_pattern


def samples_of(cfa: Cfa, shift: tuple[int, int] = (0, 0), side_px: int = 240) -> StoredSamples:
    pattern = np.roll(cfa_pattern(cfa), shift, axis=(0, 1))
    return StoredSamples(
        read_rows=lambda start, stop: np.zeros((stop - start, side_px + 10), np.uint16),
        height_px=side_px,
        width_px=side_px + 10,
        black=np.zeros(pattern.shape, np.float32),
        colours=pattern,
        clip_from=4095,
        full_scale=4095.0,
    )


@pytest.mark.parametrize(
    ("cfa", "wished_px", "allowed_px"),
    [
        ("MONO", 5, 5),
        ("MONO", 0, 1),
        ("RGGB", 1, 2),
        ("RGGB", 4, 4),
        ("RGGB", 7, 6),
        ("XTRANS", 1, 3),
        ("XTRANS", 5, 3),
        ("XTRANS", 8, 6),
        ("XTRANS", 9, 9),
    ],
)
def test_wishes_are_rounded_down(cfa: Cfa, wished_px: int, allowed_px: int) -> None:
    assert allowed_bin(wished_px, samples_of(cfa)) == allowed_px


@pytest.mark.parametrize(
    ("shift", "allowed_px"), [((3, 0), 9), ((1, 0), 6), ((0, 1), 6), ((2, 1), 9)]
)
def test_a_repeat_that_starts_elsewhere_wants_whole_repeats(
    shift: tuple[int, int], allowed_px: int
) -> None:
    assert allowed_bin(11, samples_of("XTRANS", shift)) == allowed_px


def test_a_cell_is_no_larger_than_the_picture() -> None:
    assert allowed_bin(1000, samples_of("RGGB", side_px=22)) == 22


@pytest.mark.parametrize(("bin_px", "period_px"), [(4, 2), (3, 6), (5, 1), (50, 2), (128, 1)])
def test_strips_cut_neither_cells_nor_the_mosaic(bin_px: int, period_px: int) -> None:
    height_px = strip_height(bin_px, period_px, 64)
    assert height_px % bin_px == 0
    assert height_px % period_px == 0
    assert 32 < height_px <= 128
