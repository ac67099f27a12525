"""Shapes are sampled by area, and their sizes are what they say."""

import math

import numpy as np
import pytest

from motemap.synth.films import RingMask, SmearMask
from motemap.synth.masks import DropMask, FibreMask, Mask, Outline, Paint, SpeckMask

CELL_UM = 0.5


def paint(mask: Mask, cell_um: float = CELL_UM, off_um: float = 0.13) -> Paint:
    half_width_um, half_height_um = mask.reach_um
    right_um = np.arange(-half_width_um - 2, half_width_um + 2, cell_um) + off_um
    down_um = np.arange(-half_height_um - 3, half_height_um + 3, cell_um) - off_um
    return mask.paint(right_um[None, :], down_um[:, None], cell_um)


def stopped_um2(mask: Mask, cell_um: float = CELL_UM) -> float:
    return float((1.0 - paint(mask, cell_um).intensity).sum()) * cell_um**2


@pytest.mark.parametrize("cell_um", [0.25, 0.5, 1.0])
@pytest.mark.parametrize("off_um", [0.0, 0.21])
def test_disc_of_few_cells_has_its_area(cell_um: float, off_um: float) -> None:
    # sampled at cell centres a disc of 1.5 cells radius is wrong by up to 43 %; by area, 5 %
    mask = SpeckMask(outline=Outline(diameter_um=3.0))
    area_um2 = float((1.0 - paint(mask, cell_um, off_um).intensity).sum()) * cell_um**2
    assert area_um2 == pytest.approx(math.pi * 1.5**2, rel=0.05)


def test_wavy_outline_keeps_the_area_of_its_diameter() -> None:
    outline = Outline(diameter_um=40.0, waves=((0.1, -0.05), (0.0, 0.08), (0.03, 0.03)))
    # first order in the waves' height at the edge
    assert stopped_um2(SpeckMask(outline=outline)) == pytest.approx(math.pi * 400.0, rel=0.003)


def test_half_opaque_speck_stops_half() -> None:
    mask = SpeckMask(outline=Outline(diameter_um=20.0), opacity=0.5)
    assert stopped_um2(mask) == pytest.approx(0.5 * math.pi * 100.0, rel=0.003)
    inner = paint(mask)
    middle = tuple(side // 2 for side in inner.amplitude.shape)
    assert inner.amplitude[middle] ** 2 == pytest.approx(inner.intensity[middle])


def test_cell_half_covered_passes_half_the_amplitude_and_half_the_light() -> None:
    mask = SpeckMask(outline=Outline(diameter_um=10.0))
    edge = mask.paint(np.array([[5.0]]), np.array([[0.0]]), 1.0)
    assert edge.amplitude[0, 0] == pytest.approx(0.5)
    assert edge.intensity[0, 0] == pytest.approx(0.5)


def test_straight_fibre_is_a_strip_with_round_ends() -> None:
    mask = FibreMask(line_um=((-60.0, 10.0), (0.0, 10.0), (60.0, 10.0)), width_um=12.0)
    assert stopped_um2(mask) == pytest.approx(120.0 * 12.0 + math.pi * 36.0, rel=0.003)
    assert mask.reach_um == (66.0, 16.0)


def test_bent_fibre_does_not_count_its_corner_twice() -> None:
    mask = FibreMask(line_um=((-40.0, 0.0), (0.0, 0.0), (0.0, 40.0)), width_um=10.0)
    # two strips, a quarter disc outside the corner, and a square shared inside it
    expected_um2 = 2 * 40.0 * 10.0 + math.pi * 25.0 + math.pi * 25.0 / 4 - 25.0
    assert stopped_um2(mask) == pytest.approx(expected_um2, rel=0.003)


def test_clear_drop_stops_nothing_and_delays_by_its_cap() -> None:
    mask = DropMask(outline=Outline(diameter_um=100.0), contact_deg=10.0)
    painted = paint(mask)
    assert painted.delay_um is not None
    assert stopped_um2(mask) == 0.0
    # height of a spherical cap: a tan(angle / 2)
    cap_um = 50.0 * math.tan(math.radians(5.0))
    assert painted.delay_um.max() == pytest.approx(0.333 * cap_um, rel=0.001)
    assert mask.is_lens


def test_dirty_drop_absorbs_most_in_the_middle() -> None:
    mask = DropMask(outline=Outline(diameter_um=80.0), contact_deg=0.5, opacity=0.4)
    painted = paint(mask)
    assert painted.intensity.min() == pytest.approx(0.6, abs=0.001)
    assert 0 < stopped_um2(mask) < 0.4 * math.pi * 1600.0


def test_flat_drop_is_a_film() -> None:
    mask = DropMask(outline=Outline(diameter_um=30.0), contact_deg=0.0, opacity=0.2)
    assert not mask.is_lens
    assert stopped_um2(mask) == pytest.approx(0.2 * math.pi * 225.0, rel=0.003)


def test_ring_is_dark_at_its_rim_only() -> None:
    mask = RingMask(outline=Outline(diameter_um=200.0), width_um=10.0, opacity=0.5)
    assert stopped_um2(mask) == pytest.approx(0.5 * math.pi * 200.0 * 10.0, rel=0.003)


def test_smear_has_its_sizes_and_no_edge() -> None:
    mask = SmearMask(length_um=400.0, width_um=100.0, turn_deg=0.0, opacity=0.1)
    thickness = 1.0 - mask.paint(np.array([[0.0, 200.0, 300.1]]), np.array([[0.0]]), 1.0).intensity
    assert thickness[0] == pytest.approx([0.1, 0.05, 0.0])
    assert mask.is_soft
    assert mask.reach_um == pytest.approx((300.0, 75.0))


def test_turned_smear_needs_a_taller_box() -> None:
    mask = SmearMask(length_um=400.0, width_um=100.0, turn_deg=90.0, opacity=0.1)
    assert mask.reach_um == pytest.approx((75.0, 300.0))
