"""Position, depth, width and lost light of drawn marks."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import numpy as np
import pytest

from fields import bell, disc, flat_frame, noisy
from motemap.detect import detect
from motemap.distances import regions_of
from motemap.filters import smooth
from motemap.measure import measure, measure_all, owners
from motemap.records import MeasuredSpot, Region
from motemap.settings import DetectSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.planes import Window
    from motemap.records import FlatFrame, Regions

SHAPE = (130, 190)
FWHM_PER_SIGMA = 2.3548
OFFSETS = [(60.0, 80.0), (60.5, 80.0), (60.25, 80.75)]
"""Centres on, between and off the cells."""


def spots_of(
    contrast: NDArray[np.float32], noise_frac: float = 0.0005, bin_px: int = 1
) -> list[MeasuredSpot]:
    """Detect and measure; the noise given is drawn on top."""
    flat = flat_frame(contrast + noisy(SHAPE, noise_frac, 3), noise_frac, bin_px=bin_px)
    found = detect(
        flat, widest_px=60.0 * bin_px, usual_px=40.0 * bin_px, settings=DetectSettings()
    ).found
    return list(measure_all(flat, found, owners(flat, found)))


def deepest(contrast: NDArray[np.float32], noise_frac: float = 0.0005) -> MeasuredSpot:
    """Measure the one mark drawn; crumbs on its flank are for later stages to sort out."""
    return max(spots_of(contrast, noise_frac), key=lambda spot: spot.depth_frac)


@pytest.mark.parametrize(("row", "col"), OFFSETS)
@pytest.mark.parametrize("sigma", [1.2, 3.0, 6.0])
def test_centre_is_found_to_a_fraction_of_a_cell(row: float, col: float, sigma: float) -> None:
    spot = deepest(bell(SHAPE, row, col, sigma, 0.2))
    # Noise moves a centre by sigma / snr, below 0.01 here; the rest is the ragged region.
    assert spot.centre.row_px == pytest.approx(row, abs=0.05)
    assert spot.centre.col_px == pytest.approx(col, abs=0.05)


@pytest.mark.parametrize("noise_frac", [0.0005, 0.004])
@pytest.mark.parametrize("sigma", [1.2, 2.0, 3.0, 6.0])
def test_a_bell_has_the_depth_width_and_light_it_was_drawn_with(
    sigma: float, noise_frac: float
) -> None:
    spot = deepest(bell(SHAPE, 60.3, 80.6, sigma, 0.2), noise_frac)
    # Cells blunt a bell of 1.2 sigma by a tenth; noise of 2 % of the depth does the rest.
    assert spot.depth_frac == pytest.approx(0.2, rel=0.12)
    assert spot.width_px == pytest.approx(FWHM_PER_SIGMA * sigma, rel=0.06)
    assert spot.length_px == pytest.approx(spot.width_px, rel=0.08)
    # 2 pi sigma^2 x depth; the sum runs over some hundred cells of noise.
    assert spot.lost_area_px2 == pytest.approx(2 * math.pi * sigma**2 * 0.2, rel=0.1)
    assert spot.gain_ratio < 0.02


@pytest.mark.parametrize("radius", [2.5, 6.0, 12.0])
def test_a_disc_is_measured_within_what_its_hard_edge_allows(radius: float) -> None:
    # Measuring takes marks for bells, since shadows are soft: a hard disc reads a sixth too
    # deep and a tenth too narrow. Its light does not depend on that.
    (spot,) = spots_of(disc(SHAPE, 60.3, 80.6, radius, 0.2))
    assert 0.2 <= spot.depth_frac < 0.2 * 1.35
    assert 0.8 * 2 * radius < spot.width_px < 2.05 * radius
    assert spot.lost_area_px2 == pytest.approx(math.pi * radius**2 * 0.2, rel=0.03)


def test_a_fibre_is_as_deep_as_the_chords_of_its_blur_disc() -> None:
    # By rays the depth falls to both sides as chords of a disc do: flatter than a bell.
    rows, cols = np.indices(SHAPE)
    chord = np.sqrt(np.maximum(1 - ((rows - 60.3) / 7.5) ** 2, 0))
    fibre = (-0.1 * chord * ((cols > 30) & (cols < 160))).astype(np.float32)
    spot = deepest(fibre)
    assert spot.length_px > 5 * spot.width_px
    assert spot.depth_frac == pytest.approx(0.1, rel=0.05)


def test_cells_of_several_pixels_are_counted_in_pixels() -> None:
    # One cell of 4 px: cell 10 has its centre at pixel 41.5.
    (fine,) = spots_of(bell(SHAPE, 60.0, 80.0, 3.0, 0.2))
    (coarse,) = spots_of(bell(SHAPE, 60.0, 80.0, 3.0, 0.2), bin_px=4)
    assert fine.centre.row_px == pytest.approx(60, abs=0.05)
    assert coarse.centre.row_px == pytest.approx(4 * 60 + 1.5, abs=0.2)
    assert coarse.centre.col_px == pytest.approx(4 * 80 + 1.5, abs=0.2)
    assert coarse.width_px == pytest.approx(4 * fine.width_px)
    assert coarse.length_px == pytest.approx(4 * fine.length_px)
    assert coarse.lost_area_px2 == pytest.approx(16 * fine.lost_area_px2)
    assert coarse.edge_px == pytest.approx(4 * fine.edge_px)
    assert coarse.depth_frac == fine.depth_frac


def test_a_brighter_or_darker_ground_is_taken_out() -> None:
    plain = bell(SHAPE, 60.0, 80.0, 3.0, 0.2)
    (spot,), (raised,) = spots_of(plain), spots_of(plain + np.float32(0.001))
    assert raised.depth_frac == pytest.approx(spot.depth_frac, rel=0.01)
    assert raised.lost_area_px2 == pytest.approx(spot.lost_area_px2, rel=0.01)


def test_signal_to_noise_is_that_of_the_matched_filter() -> None:
    depth, sigma, noise_frac = 0.1, 3.0, 0.004
    (spot,) = spots_of(bell(SHAPE, 60.0, 80.0, sigma, depth), noise_frac)
    # Sum of squares of a bell: depth^2 pi sigma^2.
    wanted = depth * sigma * math.sqrt(math.pi) / noise_frac
    assert spot.snr == pytest.approx(wanted, rel=0.06)


@pytest.mark.parametrize(("row", "col"), [(1.0, 90.0), (60.0, 188.0), (129.0, 5.0)])
def test_the_picture_s_edge_cuts_a_mark(row: float, col: float) -> None:
    (spot,) = spots_of(bell(SHAPE, row, col, 3.0, 0.2))
    assert spot.is_at_border
    # Only half of it is seen, so its middle is guessed: within half its width.
    assert abs(spot.centre.row_px - row) < 3.5
    assert abs(spot.centre.col_px - col) < 3.5


def test_a_mark_inside_is_not_cut() -> None:
    (spot,) = spots_of(bell(SHAPE, 60.0, 80.0, 3.0, 0.2))
    assert not spot.is_at_border
    assert not spot.has_neighbour


def test_neighbours_know_of_each_other() -> None:
    spots = spots_of(bell(SHAPE, 60, 80, 3.0, 0.2) + bell(SHAPE, 60, 97, 3.0, 0.2))
    assert [spot.has_neighbour for spot in spots] == [True, True]


def test_a_ring_is_hollow() -> None:
    ring = disc(SHAPE, 60, 80, 12.0, 0.2) - disc(SHAPE, 60, 80, 7.0, 0.2)
    (spot,) = spots_of(ring)
    assert spot.hollow_frac < 0.3
    (full,) = spots_of(disc(SHAPE, 60, 80, 12.0, 0.2))
    assert full.hollow_frac > 0.9


def test_a_bright_rim_is_told() -> None:
    # A dark core of 7 cells in a bright ring of 12 that gives back three fifths of the light.
    core, wide = disc(SHAPE, 60, 80, 7.0, 0.2), disc(SHAPE, 60, 80, 12.0, 0.06)
    rim = disc(SHAPE, 60, 80, 7.0, 0.06)
    (spot,) = spots_of(core - (wide - rim))
    given_back = 0.06 * (12**2 - 7**2) / (0.2 * 7**2)
    assert spot.gain_ratio == pytest.approx(given_back, rel=0.35)


def test_a_straight_fibre_is_long_and_as_deep_as_drawn() -> None:
    rows, cols = np.indices(SHAPE)
    # 80 cells long at an angle, a Gaussian of 2 cells across.
    along = (cols - 90) * math.cos(0.4) + (rows - 60) * math.sin(0.4)
    across = -(cols - 90) * math.sin(0.4) + (rows - 60) * math.cos(0.4)
    line = np.where(np.abs(along) < 40, -0.15 * np.exp(-(across**2) / 8), 0).astype(np.float32)
    (spot,) = spots_of(line)
    assert spot.length_px == pytest.approx(80, rel=0.08)
    assert spot.width_px == pytest.approx(2 * FWHM_PER_SIGMA, rel=0.15)
    # Along it nothing is lost to smoothing, and only that across is given back.
    assert spot.depth_frac == pytest.approx(0.15, rel=0.07)


def test_a_bent_fibre_is_measured_along_its_bend() -> None:
    rows, cols = np.indices(SHAPE)
    radius = np.hypot(rows - 60, cols - 90)
    # Half a circle of 30 cells: 94 cells long, its chord 60.
    arc = np.where(rows <= 60, -0.15 * np.exp(-((radius - 30) ** 2) / 8), 0).astype(np.float32)
    (spot,) = spots_of(arc)
    assert spot.length_px == pytest.approx(math.pi * 30, rel=0.1)


def test_owners_number_the_regions() -> None:
    flat = flat_frame(np.zeros((4, 6), np.float32), 0.001)
    one = Region(top_cell=0, left_cell=1, mask=np.ones((2, 2), bool), snr=9, scale_cell=1)
    other = Region(
        top_cell=2, left_cell=4, mask=np.array([[True, False], [True, True]]), snr=9, scale_cell=1
    )
    assert owners(flat, regions_of((one, other))).tolist() == [
        [0, 1, 1, 0, 0, 0],
        [0, 1, 1, 0, 0, 0],
        [0, 0, 0, 0, 2, 0],
        [0, 0, 0, 0, 2, 2],
    ]


def test_nothing_is_changed() -> None:
    flat: FlatFrame = flat_frame(bell(SHAPE, 60, 80, 3.0, 0.2) + noisy(SHAPE, 0.001, 1), 0.001)
    regions = detect(flat, widest_px=60, usual_px=40, settings=DetectSettings()).found
    owner = owners(flat, regions)
    contrast, numbers, rows = flat.contrast[:, :].copy(), owner.copy(), regions.cells.row.copy()
    measure_all(flat, regions, owner)
    assert np.array_equal(flat.contrast[:, :], contrast)
    assert np.array_equal(owner, numbers)
    assert np.array_equal(regions.cells.row, rows)


def crowd() -> tuple[FlatFrame, Regions]:
    """Return marks of all sizes, inside, at the edges and side by side."""
    contrast = noisy(SHAPE, 0.0005, 5)
    for row, col, sigma in [
        (20.0, 30.0, 1.5),
        (21.0, 52.5, 2.0),
        (60.0, 80.0, 3.0),
        (62.0, 97.0, 3.0),
        (0.5, 120.0, 2.5),
        (128.0, 3.0, 2.0),
        (95.0, 150.0, 8.0),
        (70.0, 20.0, 1.2),
    ]:
        contrast = contrast + bell(SHAPE, row, col, sigma, 0.2)
    flat = flat_frame(contrast, 0.0005)
    return flat, detect(flat, widest_px=60, usual_px=40, settings=DetectSettings()).found


def test_all_at_once_are_those_one_by_one() -> None:
    flat, regions = crowd()
    owner = owners(flat, regions)
    together = measure_all(flat, regions, owner)
    assert len(together) >= 8
    for index, (spot, region) in enumerate(zip(together, regions.singly(), strict=True)):
        alone = measure(flat, region, owner, index)
        for name in MeasuredSpot.__slots__:
            one, other = getattr(spot, name), getattr(alone, name)
            if name == "centre":
                one, other = (one.row_px, one.col_px), (other.row_px, other.col_px)
            # Sums of single precision in another order.
            assert one == pytest.approx(other, rel=1e-4), name


class Reckoned:
    """A plane that gives windows and nothing else."""

    def __init__(self, values: NDArray[np.float32]) -> None:
        self.values = values

    @property
    def shape(self) -> tuple[int, ...]:
        return self.values.shape

    def __getitem__(self, window: Window) -> NDArray[np.float32]:
        rows, cols = window
        assert isinstance(rows, slice)
        assert isinstance(cols, slice)
        return self.values[rows, cols]


def test_planes_need_only_give_windows() -> None:
    flat, regions = crowd()
    owner = owners(flat, regions)
    lazy = SimpleNamespace(
        contrast=Reckoned(flat.contrast[:, :]),
        noise_frac=Reckoned(flat.noise_frac[:, :]),
        valid=flat.valid,
        bin_px=flat.bin_px,
    )
    asked = cast("FlatFrame", lazy)
    assert measure_all(asked, regions, owner) == measure_all(flat, regions, owner)


def test_light_that_is_no_number_spoils_nothing() -> None:
    contrast = bell(SHAPE, 60.0, 80.0, 3.0, 0.2) + noisy(SHAPE, 0.0005, 3)
    whole = flat_frame(contrast, 0.0005)
    regions = detect(whole, widest_px=60, usual_px=40, settings=DetectSettings()).found
    broken = contrast.copy()
    broken[60, 96] = np.nan
    (spot,) = measure_all(whole, regions, owners(whole, regions))
    (rest,) = measure_all(flat_frame(broken, 0.0005), regions, owners(whole, regions))
    assert rest.depth_frac == pytest.approx(spot.depth_frac, rel=0.01)
    assert rest.width_px == pytest.approx(spot.width_px, rel=0.01)
    assert rest.lost_area_px2 == pytest.approx(spot.lost_area_px2, rel=0.02)


def test_a_region_that_fills_the_frame_is_measured_without_surroundings() -> None:
    shape = (9, 13)
    flat = flat_frame(np.full(shape, -0.1, np.float32), 0.001)
    region = Region(top_cell=0, left_cell=0, mask=np.ones(shape, bool), snr=9, scale_cell=2)
    spot = measure(flat, region, owners(flat, regions_of((region,))), 0)
    assert spot.is_at_border
    assert spot.seen_depth_frac == pytest.approx(0.1, rel=0.01)
    assert (spot.centre.row_px, spot.centre.col_px) == pytest.approx((4, 6), abs=0.01)


def test_a_mark_that_gains_light_has_no_outline() -> None:
    flat = flat_frame(-bell(SHAPE, 60.0, 80.0, 3.0, 0.2), 0.001)
    region = Region(top_cell=58, left_cell=78, mask=np.ones((5, 5), bool), snr=9, scale_cell=2)
    spot = measure(flat, region, owners(flat, regions_of((region,))), 0)
    assert spot.depth_frac < 0
    assert spot.width_px <= 1
    assert (spot.centre.row_px, spot.centre.col_px) == pytest.approx((60, 80))


def test_deep_marks_with_a_flat_top_are_not_read_deeper_than_they_are() -> None:
    # A disc of 0.8 with a soft rim: its middle half is level.
    deep = disc(SHAPE, 60.3, 80.6, 8.0, 0.8)
    soft = smooth(deep, 2.0)
    (spot,) = spots_of(soft)
    assert spot.depth_frac == pytest.approx(float(-soft.min()), rel=0.05)
