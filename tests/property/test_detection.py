"""What holds for finding marks whatever the frame: turned, brightened, doubled, drowned in noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fields import bell, bell_shadow, noisy, plane_of, uneven_light
from motemap.flatten import flatten
from motemap.pipeline.finding import find_marks
from motemap.pipeline.known_optics import KnownOptics
from motemap.settings import Settings
from motemap.shot import smallest_depth

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import MeasuredSpot

SHAPE = (300, 420)
OPTICS = KnownOptics(f_number=22.0, pitch_um=9.0)
SIGMA_CELL = 2.4
NOISE_FRAC = 0.002
CELL = 60
INSET = 30
EXAMPLES = 12


@dataclass(frozen=True)
class Dip:
    """A bell-shaped shadow somewhere in one square of a lattice."""

    row: float
    col: float
    depth: float


@st.composite
def dips(draw: st.DrawFn, most: int = 8) -> list[Dip]:
    """Draw dips of 2 to 50 %, each in a square of its own, so that none touches another."""
    squares = [(row, col) for row in range(4) for col in range(6)]
    chosen = draw(st.lists(st.sampled_from(squares), min_size=1, max_size=most, unique=True))
    away = st.floats(-12.0, 12.0)
    return [
        Dip(
            row=INSET + CELL * (row + 0.5) + draw(away),
            col=INSET + CELL * (col + 0.5) + draw(away),
            depth=draw(st.floats(0.02, 0.5)),
        )
        for row, col in chosen
    ]


SEEDS = st.integers(0, 10_000)


def light_of(
    drawn: Sequence[Dip], seed: int, noise_frac: float = NOISE_FRAC
) -> NDArray[np.float32]:
    """Return an uneven field with these dips and this noise."""
    contrast = noisy(SHAPE, noise_frac, seed)
    for dip in drawn:
        contrast += bell(SHAPE, dip.row, dip.col, SIGMA_CELL, dip.depth)
    light = uneven_light(SHAPE, vignetting=0.15, tilt=0.03) * (1 + contrast)
    return light.astype(np.float32)


def spots_in(light: NDArray[np.float32]) -> tuple[MeasuredSpot, ...]:
    chosen = Settings()
    plane = plane_of(np.ascontiguousarray(light))
    flat = flatten(plane, blur_px=OPTICS.blur_px(), settings=chosen.flatten)
    return find_marks(plane, flat, OPTICS, None, chosen).spots


def centres(spots: Sequence[MeasuredSpot]) -> NDArray[np.float64]:
    return np.array([(s.centre.row_px, s.centre.col_px) for s in spots]).reshape(-1, 2)


def farthest_partner_px(ours: NDArray[np.float64], theirs: NDArray[np.float64]) -> float:
    """Return how far the worst of ours is from its nearest of theirs."""
    if not len(ours):
        return 0.0
    away = np.hypot(*(ours[:, None, :] - theirs[None, :, :]).transpose(2, 0, 1))
    return float(away.min(axis=1).max())


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(dips(), SEEDS)
def test_every_clear_dip_is_found_and_nothing_else(drawn: list[Dip], seed: int) -> None:
    found = centres(spots_in(light_of(drawn, seed)))
    true = np.array([(dip.row, dip.col) for dip in drawn])
    assert len(found) == len(drawn)
    assert farthest_partner_px(true, found) < 1.0


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(dips(), SEEDS, st.integers(1, 3), st.sampled_from(("as it is", "mirrored")))
def test_turning_or_mirroring_a_frame_turns_its_marks(
    drawn: list[Dip], seed: int, n_quarters: int, side: str
) -> None:
    light = light_of(drawn, seed)
    plain = centres(spots_in(light))
    turned_light = np.rot90(light[:, ::-1] if side == "mirrored" else light, n_quarters)
    turned = centres(spots_in(turned_light))
    # Positions are carried over by the same turns of a map of row and column numbers.
    rows, cols = np.indices(light.shape)
    index = np.stack([rows, cols], axis=2)
    index = np.rot90(index[:, ::-1] if side == "mirrored" else index, n_quarters)
    nearest = np.rint(turned).astype(int)
    back = index[nearest[:, 0], nearest[:, 1]].astype(np.float64)
    assert len(turned) == len(plain)
    # Rounding to whole pixels to look the map up costs 0.7 px at most; boxes of the background
    # lie a little differently.
    assert farthest_partner_px(plain, back) < 1.0


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(dips(), SEEDS, st.floats(0.05, 1.6))
def test_brightness_leaves_depths_and_places(
    drawn: list[Dip], seed: int, brightness: float
) -> None:
    light = light_of(drawn, seed)
    plain, scaled = spots_in(light), spots_in(np.float32(brightness) * light)
    assert len(plain) == len(scaled)
    for one, other in zip(plain, scaled, strict=True):
        # Single precision, some hundred operations deep.
        assert other.depth_frac == pytest.approx(one.depth_frac, rel=1e-3)
        assert other.centre.row_px == pytest.approx(one.centre.row_px, abs=0.01)
        assert other.width_px == pytest.approx(one.width_px, rel=5e-3)


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(dips(), SEEDS, st.data())
def test_another_speck_removes_none_beyond_its_neighbourhood(
    drawn: list[Dip], seed: int, data: st.DataObject
) -> None:
    extra = data.draw(dips(most=1))[0]
    before = centres(spots_in(light_of(drawn, seed)))
    after = centres(spots_in(light_of([*drawn, extra], seed)))
    away = np.hypot(before[:, 0] - extra.row, before[:, 1] - extra.col)
    assert farthest_partner_px(before[away > 8 * SIGMA_CELL], after) < 0.7


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(dips(), SEEDS)
def test_a_frame_and_its_mirror_have_twice_the_marks(drawn: list[Dip], seed: int) -> None:
    light = light_of(drawn, seed)
    doubled = np.concatenate([light, light[:, ::-1]], axis=1)
    once, twice = centres(spots_in(light)), centres(spots_in(doubled))
    mirrored = np.stack([once[:, 0], 2 * SHAPE[1] - 1 - once[:, 1]], axis=1)
    assert len(twice) == 2 * len(once)
    assert farthest_partner_px(np.concatenate([once, mirrored]), twice) < 0.7


@settings(max_examples=2 * EXAMPLES, deadline=None, derandomize=True)
@given(st.floats(0.002, 0.12), SEEDS, st.floats(0.004, 0.1))
def test_a_speck_drowned_in_noise_is_owned_up_to(
    noise_frac: float, seed: int, depth: float
) -> None:
    dip = Dip(row=151.3, col=212.8, depth=depth)
    chosen = Settings()
    plane = plane_of(light_of([dip], seed, noise_frac))
    flat = flatten(plane, blur_px=OPTICS.blur_px(), settings=chosen.flatten)
    marks = find_marks(plane, flat, OPTICS, None, chosen)
    promised = smallest_depth(
        marks.detection,
        shadow=bell_shadow(SIGMA_CELL),
        bin_px=1,
        floor_frac=0.0,
        settings=chosen.detect,
    )
    place = np.array([[dip.row, dip.col]])
    is_found = bool(marks.spots) and farthest_partner_px(place, centres(marks.spots)) < 4.0
    # Nine in ten of the promised depth are found; a tenth more again and hardly one is missed.
    assert is_found or promised > 0.75 * depth
