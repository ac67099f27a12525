"""Places on the grid of cells and in stored pixels, there and back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motemap.coords import cell_to_px, px_to_cell

PLACES = st.floats(-1e5, 1e5)
BINS = st.integers(1, 12)


@given(PLACES, BINS)
def test_there_and_back(place_px: float, bin_px: int) -> None:
    there = px_to_cell(place_px, bin_px)
    assert cell_to_px(there, bin_px) == pytest.approx(place_px, abs=1e-9)


@given(st.integers(0, 5000), BINS)
def test_a_cell_lies_in_the_middle_of_its_pixels(cell: int, bin_px: int) -> None:
    pixels = np.arange(cell * bin_px, (cell + 1) * bin_px)
    assert cell_to_px(float(cell), bin_px) == pytest.approx(float(pixels.mean()))
    assert np.rint(px_to_cell(pixels.astype(np.float64), bin_px)).tolist() == [cell] * bin_px
