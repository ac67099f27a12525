"""Corners that a hood has cut off are left out; dirt that lies in a corner is not."""

from __future__ import annotations

import numpy as np
import pytest

from fields import bell, disc, noisy, plane_of
from motemap.flatten import flatten
from motemap.settings import FlattenSettings

SHAPE = (420, 600)
BLACK, GREY = 1.0, 0.3
EDGE_PX = 3.0
REACH_PX = 325.0
"""From the middle to the edge of the shadow: 41 px short of the corner."""


def judged(contrast: np.ndarray[tuple[int, int], np.dtype[np.float32]]) -> np.ndarray:
    light = (0.5 * (1 + contrast) * (1 + noisy(SHAPE, 0.01, 4))).astype(np.float32)
    return flatten(plane_of(light), blur_px=10.0, settings=FlattenSettings()).valid


@pytest.mark.parametrize("depth", [BLACK, GREY])
def test_what_a_hood_cuts_off_is_not_judged(depth: float) -> None:
    rows, cols = np.indices(SHAPE)
    from_middle_px = np.hypot(rows - 209.5, cols - 299.5)
    shade = (1 / (1 + np.exp((REACH_PX - from_middle_px) / EDGE_PX))).astype(np.float32)
    shade *= np.clip((from_middle_px - REACH_PX) / 40.0, 0, 1).astype(np.float32)
    valid = judged(-depth * shade)
    is_dark = depth * shade > 0.03
    assert not valid[is_dark].any()
    assert valid[from_middle_px < REACH_PX - 60].all()


@pytest.mark.parametrize(
    "contrast",
    [
        disc(SHAPE, 0.0, 0.0, 45.0, 0.12),  # a dried film
        bell(SHAPE, 12.0, 590.0, 3.5, 0.4),  # a speck beside the corner
        disc(SHAPE, 419.0, 300.0, 40.0, 0.9),  # a flake on the border
        -np.pad(np.full((5, 200), 0.3, np.float32), ((0, 415), (0, 400))),  # a hair along it
        -np.pad(np.zeros((408, 588), np.float32), 6, constant_values=0.4),  # a dark rim all round
    ],
    ids=["film", "speck", "flake", "hair", "rim"],
)
def test_dirt_in_a_corner_is_judged(contrast: np.ndarray) -> None:
    assert judged(contrast).all()
