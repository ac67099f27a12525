"""Measuring a mark with the shadows of others that lie over it taken off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fields import bell, flat_frame
from motemap.distances import regions_of
from motemap.measure import measure_all, owners
from motemap.records import Region

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SHAPE = (60, 90)
SIGMA = 4.0


def test_a_mark_is_measured_alone() -> None:
    one, other = bell(SHAPE, 30, 40, SIGMA, 0.10), bell(SHAPE, 30, 47, SIGMA, 0.06)
    box = (slice(16, 45), slice(26, 56))
    mask = one[box] < -0.015

    def marks(alone: NDArray[np.float32] | None) -> Region:
        return Region(top_cell=16, left_cell=26, mask=mask, snr=50, scale_cell=1, alone=alone)

    spots = []
    for contrast, alone in ((one, None), (one + other, one[box]), (one + other, None)):
        flat = flat_frame(contrast, 0.0001)
        regions = regions_of([marks(alone)])
        spots.append(measure_all(flat, regions, owners(flat, regions))[0])
    truth, freed, mixed = spots
    # Beyond the region's box, 14 cells from the middle, the other mark stays: 0.06 exp(-1.5).
    assert freed.depth_frac == pytest.approx(truth.depth_frac, rel=0.02)
    assert freed.width_px == pytest.approx(truth.width_px, rel=0.02)
    assert freed.centre.col_px == pytest.approx(truth.centre.col_px, abs=0.05)
    assert mixed.centre.col_px > truth.centre.col_px + 1.0
