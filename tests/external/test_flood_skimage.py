"""Sharing a region out among its peaks, against another implementation of flooding.

Source: scikit-image, ``skimage.segmentation.watershed`` (F. Meyer's flooding by priority,
"Topographic distance and watershed lines", Signal Processing 38, 1994), installed from PyPI.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import ndimage
from skimage.segmentation import watershed

from motemap.detect.flood import share_out

pytestmark = pytest.mark.external

SHAPE = (150, 230)
EIGHT = np.ones((3, 3), bool)


@pytest.mark.parametrize("seed", range(1, 9))
def test_regions_are_shared_out_as_the_watershed_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    depth = ndimage.gaussian_filter(rng.normal(size=SHAPE), 4).astype(np.float32)
    label, _ = ndimage.label(depth > -0.01, EIGHT)
    inside = label == 1 + np.bincount(label.ravel())[1:].argmax()
    held = np.where(inside, depth, -np.inf)
    tops = np.argwhere((held == ndimage.maximum_filter(held, 3)) & inside)
    # Every second summit is no peak and has to be taken in by a neighbour.
    peaks = [(int(row), int(col)) for row, col in tops[::2]]
    markers = np.zeros(SHAPE, np.int32)
    for number, peak in enumerate(peaks, start=1):
        markers[peak] = number
    flood: Any = watershed
    wanted = flood(-depth, markers, connectivity=2, mask=inside)
    shared = share_out(depth, inside, peaks)
    # Only cells on the pass itself, as near to one peak as to the other, may go either way.
    assert float((shared == wanted)[inside].mean()) > 0.995
    assert not shared[~inside].any()
