"""Corners that a hood has cut off are left out; dirt that lies in a corner is not."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell, disc, noisy, plane_of
from motemap.flatten import flatten
from motemap.settings import FlattenSettings

if TYPE_CHECKING:
    from motemap.records import FlatFrame

SHAPE = (420, 600)
BLACK, GREY = 1.0, 0.3
EDGE_PX = 3.0
REACH_PX = 325.0
"""From the middle to the edge of the shadow: 41 px short of the corner."""
BLUR_PX = 10.0
MIDDLE = (209.5, 299.5)

Array = np.ndarray[tuple[int, int], np.dtype[np.float32]]
Mask = np.ndarray[tuple[int, int], np.dtype[np.bool_]]


def flat_of(contrast: Array, usable: Mask | None = None) -> FlatFrame:
    light = (0.5 * (1 + contrast) * (1 + noisy(SHAPE, 0.01, 4))).astype(np.float32)
    plane = plane_of(light)
    if usable is not None:
        plane = replace(plane, valid=usable)
    return flatten(plane, blur_px=BLUR_PX, settings=FlattenSettings())


def hood(
    depth: float, *, middle: tuple[float, float] = MIDDLE, reach_px: float = REACH_PX
) -> Array:
    """Return what a round hood takes off the light, deepening over 40 px beyond its edge."""
    rows, cols = np.indices(SHAPE)
    beyond_px = np.hypot(rows - middle[0], cols - middle[1]) - reach_px
    return np.asarray(
        -depth * np.clip(beyond_px / 40.0, 0, 1) / (1 + np.exp(-beyond_px / EDGE_PX)), np.float32
    )


def wedge(side_px: float, depth: float) -> Array:
    """Return a straight slope into the upper left corner."""
    rows, cols = np.indices(SHAPE)
    return np.asarray(-depth * np.clip(1 - (rows + cols) / side_px, 0, 1), np.float32)


@pytest.mark.parametrize("depth", [BLACK, GREY])
def test_what_a_hood_cuts_off_is_not_judged(depth: float) -> None:
    shade = hood(depth)
    flat = flat_of(shade)
    assert not flat.valid[shade < -0.03].any()
    rows, cols = np.indices(SHAPE)
    assert flat.valid[np.hypot(rows - MIDDLE[0], cols - MIDDLE[1]) < REACH_PX - 60].all()
    assert flat.n_cut_corners == 4


@pytest.mark.parametrize("depth", [BLACK, GREY])
def test_a_shadow_larger_than_dirt_cuts_a_single_corner_off(depth: float) -> None:
    shade = hood(depth, middle=(295.0, 345.0), reach_px=391.0)
    flat = flat_of(shade)
    assert not flat.valid[shade < -0.03].any()
    assert flat.n_cut_corners == 1


def test_a_shadow_no_larger_than_dirt_cuts_no_single_corner_off() -> None:
    flat = flat_of(hood(BLACK, middle=(249.5, 349.5), reach_px=390.0))
    assert flat.n_cut_corners == 0
    assert flat.valid.all()


@pytest.mark.parametrize("strip", [np.s_[:, :24], np.s_[-10:, :], np.s_[:100, :1]])
def test_corners_are_looked_for_where_the_picture_begins(strip: tuple[slice, slice]) -> None:
    shade = hood(BLACK)
    usable = np.ones(SHAPE, np.bool_)
    usable[strip] = False
    shade[strip] = -1.0
    flat = flat_of(shade, usable)
    assert not flat.valid[shade < -0.03].any()
    assert flat.n_cut_corners == 4


def test_what_is_burnt_out_is_not_dark() -> None:
    rows, cols = np.indices(SHAPE)
    usable = rows + cols > 120
    flat = flat_of(np.zeros(SHAPE, np.float32), usable)
    assert np.array_equal(flat.valid, usable)
    assert flat.n_cut_corners == 0


@pytest.mark.parametrize(
    "contrast",
    [
        disc(SHAPE, 0.0, 0.0, 45.0, 0.12),  # a dried film
        bell(SHAPE, 0.0, 0.0, 25.0, 0.06),  # a faint soft one
        bell(SHAPE, 4.0, 4.0, 10.0, 0.4),  # a speck that holds the corner
        bell(SHAPE, 8.0, 8.0, 12.0, 0.5),
        bell(SHAPE, 0.0, 0.0, 40.0, 0.3),  # a large soft one
        bell(SHAPE, 4.0, 4.0, 10.0, 0.4) + bell(SHAPE, 415.0, 595.0, 11.0, 0.4),  # two alike
        disc(SHAPE, 0.0, 0.0, 25.0, 0.75),  # a flake that holds it
        disc(SHAPE, 0.0, 0.0, 90.0, 0.9),
        wedge(60.0, 0.08),
        wedge(60.0, 0.8),
        bell(SHAPE, 12.0, 590.0, 3.5, 0.4),  # a speck beside the corner
        disc(SHAPE, 419.0, 300.0, 40.0, 0.9),  # a flake on the border
        -np.pad(np.full((5, 200), 0.3, np.float32), ((0, 415), (0, 400))),  # a hair along it
        -np.pad(np.zeros((408, 588), np.float32), 6, constant_values=0.4),  # a dark rim all round
    ],
    ids=[
        "film",
        "faint film",
        "bell",
        "bell off the corner",
        "large bell",
        "two bells",
        "corner flake",
        "large corner flake",
        "wedge",
        "deep wedge",
        "speck",
        "flake",
        "hair",
        "rim",
    ],
)
def test_dirt_in_a_corner_is_judged(contrast: Array) -> None:
    assert flat_of(contrast).valid.all()
