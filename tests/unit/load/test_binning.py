"""Sums over cells, against the plain way of taking them."""

import numpy as np
import pytest

from motemap.load.reduction.binning import any_cells, sum_cells, sum_repeat


@pytest.mark.parametrize("bin_px", [1, 2, 3, 5, 8])
@pytest.mark.parametrize("largest", [4095, 65535])
def test_sums_are_those_of_a_reshaped_array(bin_px: int, largest: int) -> None:
    values = np.random.default_rng(2).integers(0, largest + 1, (43, 61)).astype(np.uint16)
    rows, cols = 43 // bin_px, 61 // bin_px
    whole = values[: rows * bin_px, : cols * bin_px].astype(np.uint64)

    cells = sum_cells(values, bin_px, largest)

    np.testing.assert_array_equal(cells, whole.reshape(rows, bin_px, cols, bin_px).sum(axis=(1, 3)))


def test_the_largest_values_do_not_overflow() -> None:
    values = np.full((8, 12), 65535, dtype=np.uint16)
    assert sum_cells(values, 4, 65535).tolist() == [[65535 * 16] * 3] * 2


@pytest.mark.parametrize("bin_px", [1, 2, 3, 4, 6])
def test_a_repeat_is_summed_as_if_it_were_tiled(bin_px: int) -> None:
    repeat = np.arange(36, dtype=np.float32).reshape(6, 6)
    tiled = np.tile(repeat, (4, 5)).astype(np.uint16)

    cells = sum_repeat(repeat, bin_px)

    expected = sum_cells(tiled, bin_px, 35)
    copies = [-(-side // len(cells)) for side in expected.shape]
    whole = np.tile(cells, copies)[: expected.shape[0], : expected.shape[1]]
    np.testing.assert_array_equal(whole, expected)


@pytest.mark.parametrize("bin_px", [1, 2, 3, 5])
def test_a_cell_holds_what_any_of_its_pixels_does(bin_px: int) -> None:
    mask = np.random.default_rng(5).random((43, 61)) < 0.05
    count = sum_cells(mask.astype(np.uint16), bin_px, 1)
    np.testing.assert_array_equal(any_cells(mask, bin_px), count > 0)
