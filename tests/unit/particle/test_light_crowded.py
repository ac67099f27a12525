"""The light of marks that lie over one another, on shadows whose light is known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import flat_frame, noisy
from motemap.coords import FramePoint
from motemap.optics.waves import shadows
from motemap.particle import measure_light, size_particles
from motemap.records import MeasuredSpot, MeasuredSpots, Stack
from motemap.synth.masks import SpeckMask
from motemap.synth.shapes import random_outline
from specked import Laid, find

if TYPE_CHECKING:
    from motemap.particle import LostLight
    from motemap.records import FlatFrame

STACK = Stack(distance_mm=1.3, uncertainty_mm=0.04, source="measured")
TAU_UM, F_NUMBER, CELL_UM = 1300.0, 16.0, 8.0
BLUR_CELL = TAU_UM / F_NUMBER / CELL_UM
SHAPE = (71, 95)
NOISE_FRAC = 0.001
MIDDLE = (34.0, 46.0)
NEAREST_DIPS = 0.65
"""Nearer than so many blur discs two shadows have no dip between them."""


def spot_of(
    particle_um: float, col: float, light: float = 1.0, width_cell: float | None = None
) -> MeasuredSpot:
    """Return what measuring says of a speck, its light wrong by some factor."""
    seen = shadows(TAU_UM, F_NUMBER, CELL_UM)
    width_px = seen.half_width_um(particle_um) / CELL_UM if width_cell is None else width_cell
    return MeasuredSpot(
        centre=FramePoint(row_px=MIDDLE[0], col_px=col),
        depth_frac=float(seen.profile(particle_um, seen.radius_um).max()) * light,
        snr=300.0,
        width_px=width_px,
        length_px=width_px,
        lost_area_px2=light * np.pi * (particle_um / CELL_UM) ** 2 / 4,
    )


def field_of(*laid: tuple[float, float]) -> FlatFrame:
    """Return a field with the model's own round shadows, given sizes and columns."""
    seen = shadows(TAU_UM, F_NUMBER, CELL_UM)
    down = np.arange(SHAPE[0])[:, None] - MIDDLE[0]
    light = np.ones(SHAPE)
    for particle_um, col in laid:
        away_um = np.hypot(down, np.arange(SHAPE[1]) - col) * CELL_UM
        light *= 1 - seen.profile(particle_um, away_um)
    contrast = (light - 1 + noisy(SHAPE, NOISE_FRAC, 5)).astype(np.float32)
    return flat_frame(contrast, NOISE_FRAC)


def lights_of(flat: FlatFrame, *spots: MeasuredSpot) -> tuple[LostLight | None, ...]:
    return measure_light(flat, spots, stack=STACK, f_number=F_NUMBER, pitch_um=CELL_UM)


@pytest.mark.parametrize("apart_blurs", [0.5, 0.7, 0.9, 1.1])
@pytest.mark.parametrize("sizes_um", [(30.0, 30.0), (40.0, 26.0), (60.0, 45.0)])
def test_each_of_two_specks_keeps_its_own_light(
    apart_blurs: float, sizes_um: tuple[float, float]
) -> None:
    cols = MIDDLE[1], MIDDLE[1] + apart_blurs * BLUR_CELL
    flat = field_of(*zip(sizes_um, cols, strict=True))
    # What dips part is measured with some of the other's light, and too near to it; what lies nearer
    # together was freed of the other before.
    wrong = 1.0 if apart_blurs > NEAREST_DIPS else 0.3
    one = spot_of(sizes_um[0], cols[0] + 0.4 * wrong, 1 - 0.1 * wrong)
    other = spot_of(sizes_um[1], cols[1] - 0.4 * wrong, 1 + 0.25 * wrong)
    # Where half of their light is shared, the noise in what tells them apart counts for more.
    within = 0.1 if apart_blurs > NEAREST_DIPS else 0.15
    for light, size_um in zip(lights_of(flat, one, other), sizes_um, strict=True):
        assert light is not None
        assert light.area_um2 == pytest.approx(np.pi * size_um**2 / 4, rel=within)
        truth = spot_of(size_um, 0.0)
        assert light.depth_frac == pytest.approx(truth.depth_frac, rel=within)
        assert light.misfit < 2


def test_a_heap_of_four_is_shared_out() -> None:
    sizes_um = (40.0, 30.0, 35.0, 28.0)
    cols = tuple(25.0 + 0.75 * BLUR_CELL * place for place in range(len(sizes_um)))
    flat = field_of(*zip(sizes_um, cols, strict=True))
    lights = lights_of(flat, *(spot_of(*each) for each in zip(sizes_um, cols, strict=True)))
    for light, size_um in zip(lights, sizes_um, strict=True):
        assert light is not None
        assert light.area_um2 == pytest.approx(np.pi * size_um**2 / 4, rel=0.1)


def test_a_mark_far_from_all_others_is_as_if_they_were_not_there() -> None:
    lone, sizes_um = spot_of(30.0, 14.0), (40.0, 26.0)
    cols = 66.0, 66.0 + 0.6 * BLUR_CELL
    flat = field_of((30.0, 14.0), *zip(sizes_um, cols, strict=True))
    pair = [spot_of(*each) for each in zip(sizes_um, cols, strict=True)]
    assert lights_of(flat, lone, *pair)[0] == lights_of(flat, lone)[0]


def test_what_lies_over_one_another_and_fits_no_speck_is_left_to_measuring() -> None:
    cols = MIDDLE[1], MIDDLE[1] + 0.6 * BLUR_CELL
    flat = field_of((60.0, cols[0]), (60.0, cols[1]))
    nearer = Stack(distance_mm=0.5, uncertainty_mm=0.02, source="given")
    # As wide as such dust would throw its shadows, so that they are taken for some.
    spots = [spot_of(60.0, col, width_cell=5.0) for col in cols]
    lights = measure_light(flat, spots, stack=nearer, f_number=F_NUMBER, pitch_um=CELL_UM)
    assert lights == (None, None)


@pytest.mark.parametrize("away_cell", [10.0, 14.0])
def test_a_speck_that_a_flake_hides_is_left_to_measuring(away_cell: float) -> None:
    speck, flake = spot_of(30.0, 30.0), spot_of(220.0, 30.0 + away_cell + 10.0)
    flat = field_of((30.0, 30.0), (220.0, 30.0 + away_cell + 10.0))
    assert lights_of(flat, speck, flake)[0] is None


def test_a_ring_that_is_hidden_counts_as_its_neighbours_do() -> None:
    flat = field_of((180.0, MIDDLE[1]))
    away = np.hypot(
        np.arange(SHAPE[0])[:, None] - MIDDLE[0], np.arange(SHAPE[1])[None, :] - MIDDLE[1]
    )
    spot = spot_of(180.0, MIDDLE[1])
    (whole,) = lights_of(flat, spot)
    flat.valid[(away >= 8) & (away < 10)] = False
    (holed,) = lights_of(flat, spot)
    assert whole is not None
    assert holed is not None
    # A fifth of the light is lost in those two rings, at half the depth of the middle.
    assert holed.area_um2 == pytest.approx(whole.area_um2, rel=0.03)


@pytest.mark.parametrize(("seed", "apart_blurs"), [(11, 0.65), (12, 0.8), (13, 0.95)])
def test_pairs_of_drawn_specks_are_as_deep_as_they_are(seed: int, apart_blurs: float) -> None:
    tau_um, f_number, pitch_um = 1700.0, 16.0, 5.0
    stack = Stack(distance_mm=tau_um / 1000, uncertainty_mm=0.05, source="given")
    blur_px = tau_um / f_number / pitch_um
    rng = np.random.default_rng(seed)
    laid: list[Laid] = []
    lones: list[Laid] = []
    for number in range(12):
        turn = rng.uniform(0, 2 * np.pi)
        down, right = np.sin(turn), np.cos(turn)
        row, col = divmod(number, 4)
        # Lone specks teach the search what a shadow looks like here.
        lone = SpeckMask(outline=random_outline(rng, 30.0))
        at = {"row_px": 60 + 110.0 * row, "col_px": 500 + 110.0 * col}
        lones.append(Laid(**at, tau_um=tau_um, mask=lone, size_um=30.0))
        for side, size_um in ((-0.5, 32.0), (0.5, rng.uniform(22.0, 32.0))):
            laid.append(
                Laid(
                    row_px=60 + 110.0 * row + side * apart_blurs * blur_px * down,
                    col_px=60 + 110.0 * col + side * apart_blurs * blur_px * right,
                    tau_um=tau_um,
                    mask=SpeckMask(outline=random_outline(rng, size_um)),
                    size_um=size_um,
                )
            )
    found = find([*laid, *lones], f_number, pitch_um=pitch_um, noise_frac=0.004)
    lights = measure_light(
        found.flat, found.spots, stack=stack, f_number=f_number, pitch_um=pitch_um
    )
    particles = size_particles(
        MeasuredSpots.of(found.spots), lights, stack=stack, f_number=f_number, pitch_um=pitch_um
    )
    areas, depths = [], []
    for first in range(0, len(laid), 2):
        matches = found.matches[first : first + 2]
        if None in matches or len(set(matches)) < len(matches):
            continue  # seen as one mark
        for index, cast in zip(matches, found.casts[first : first + 2], strict=True):
            areas.append(particles.lost_area_um2[index] / cast.lost_area_um2)
            depths.append(particles.depth_frac[index] / cast.depth_frac)
    assert len(areas) >= 8
    # Specks standing alone are as good in the median, and half as far off at worst.
    assert np.median(areas) == pytest.approx(1.0, abs=0.1)
    assert np.median(depths) == pytest.approx(1.0, abs=0.08)
    assert min(areas) > 0.7
    assert min(depths) > 0.8
