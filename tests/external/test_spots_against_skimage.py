"""Areas, axes and places of marks, against scikit-image.

Source: scikit-image 0.26 (S. van der Walt et al., PeerJ 2014), ``measure.regionprops`` and
``feature.blob_log``, installed from PyPI.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from skimage import feature, transform
from skimage import measure as skimage_measure

from shadows import drawn_field, nearest

pytestmark = pytest.mark.external

NOISE_FRAC = 0.0005
HALF_BOX = 14
FINE = 6
"""Steps a cell on which areas are counted."""
MEASURE: Any = skimage_measure
FEATURE: Any = feature


def half_depth_pieces() -> list[tuple[Any, Any]]:
    """Return each spot with scikit-image's properties of what is deeper than half of it."""
    drawn = drawn_field(NOISE_FRAC)
    pairs = []
    for spot in drawn.spots:
        top, left = round(spot.centre.row_px) - HALF_BOX, round(spot.centre.col_px) - HALF_BOX
        box = -drawn.flat.contrast[top : top + 2 * HALF_BOX + 1, left : left + 2 * HALF_BOX + 1]
        fine = transform.rescale(box.astype(float), FINE, order=1)
        pieces = MEASURE.regionprops(MEASURE.label(fine > fine.max() / 2))
        pairs.append((spot, max(pieces, key=lambda piece: piece.area)))
    return pairs


def test_areas_at_half_depth_agree() -> None:
    for spot, piece in half_depth_pieces():
        # We take the cells' own width, 2.3548^2 / 12 = 0.46 px2, out of the squared width.
        ours = math.pi / 4 * math.sqrt((spot.width_px**2 + 0.46) * (spot.length_px**2 + 0.46))
        # What our smoothing adds is taken out again as for a bell; of a mark so large that its
        # shadow has a flat dark floor that is too much, up to a fifth of the area.
        is_flat = spot.depth_frac > 0.8
        assert ours == pytest.approx(piece.area / FINE**2, rel=0.25 if is_flat else 0.1)


def test_elongations_agree() -> None:
    for spot, piece in half_depth_pieces():
        wanted = piece.axis_major_length / piece.axis_minor_length
        assert spot.length_px / spot.width_px == pytest.approx(wanted, rel=0.1)


def test_a_blob_finder_sees_the_same_marks() -> None:
    drawn = drawn_field(NOISE_FRAC)
    peaks = np.clip(-drawn.flat.contrast[:, :].astype(float), 0, 1)
    blobs = FEATURE.blob_log(peaks, min_sigma=1.2, max_sigma=5, num_sigma=8, threshold=0.03)
    assert len(blobs) == len(drawn.spots)
    for row, col, _sigma in blobs:
        spot = nearest(drawn.spots, row, col)
        # A blob's place is a whole cell.
        assert abs(spot.centre.row_px - row) <= 1
        assert abs(spot.centre.col_px - col) <= 1
