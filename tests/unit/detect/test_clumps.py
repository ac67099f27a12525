"""Connected pieces of what the search found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell, disc, flat_frame, noisy
from motemap.detect import detect
from motemap.detect.clumps import Clump, lone_radius, padded_box
from motemap.settings import DetectSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHAPE = (41, 61)


def clump_of(depth: NDArray[np.float32], inside: NDArray[np.bool_]) -> Clump:
    box = (slice(0, SHAPE[0]), slice(0, SHAPE[1]))
    return Clump(box=box, inside=inside, depth=depth, sigma_cell=0.9, scatter=0.001, snr=30.0)


@pytest.mark.parametrize("radius", [4.0, 9.0])
def test_a_round_mark_tells_its_radius(radius: float) -> None:
    depth = -disc(SHAPE, 20, 30, radius, 0.3)
    assert lone_radius(clump_of(depth, depth > 0.01)) == pytest.approx(radius, rel=0.08)


def test_a_bell_s_radius_is_that_at_half_depth() -> None:
    depth = -bell(SHAPE, 20, 30, 5.0, 0.3)
    assert lone_radius(clump_of(depth, depth > 0.01)) == pytest.approx(5.0 * 1.1774, rel=0.06)


def test_a_long_mark_has_none() -> None:
    depth = np.zeros(SHAPE, np.float32)
    depth[18:22, 5:55] = 0.3
    assert lone_radius(clump_of(depth, depth > 0.01)) is None


def test_a_piece_nowhere_darker_than_the_background_has_none() -> None:
    # As beside a bright object: darker than its surround, brighter than the field.
    depth = np.full(SHAPE, -0.2, np.float32)
    assert lone_radius(clump_of(depth, depth < 0)) is None


def test_boxes_are_widened_within_the_plane() -> None:
    outer, inner = padded_box((slice(2, 6), slice(50, 60)), 5, SHAPE)
    assert outer == (slice(0, 11), slice(45, 61))
    assert inner == (slice(2, 6), slice(5, 15))


def test_overlapping_discs_of_the_usual_size_are_parted() -> None:
    shape, radius = (420, 620), 9.0
    lone = [(60, 60), (60, 200), (60, 340), (60, 480), (200, 60), (200, 480), (340, 60), (340, 480)]
    pair = [(200, 270), (200, 284)]  # 14 cells apart, 0.78 of a width
    contrast = noisy(shape, 0.003, 5)
    for row, col in (*lone, *pair):
        # Two opaque discs stop the light of their union: take the darker one.
        contrast = np.minimum(contrast, noisy(shape, 0.003, 6) + disc(shape, row, col, radius, 0.3))
    flat = flat_frame(contrast.astype(np.float32), 0.003)
    regions = detect(flat, widest_px=50.0, usual_px=40.0, settings=DetectSettings()).regions
    assert len(regions) == len(lone) + 2
