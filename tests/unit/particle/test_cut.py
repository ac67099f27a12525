"""Marks that the edge of the picture cuts off, written down by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from motemap.coords import FramePoint
from motemap.optics.depths import depth_curve
from motemap.optics.waves import shadows
from motemap.particle import find_cut, size_particles
from motemap.records import MeasuredSpot, MeasuredSpots, Stack

PITCH_UM = 5.0
F_NUMBER = 22.0
STACK = Stack(distance_mm=1.3, uncertainty_mm=0.04, source="measured")
ASSUMED = Stack(distance_mm=1.3, uncertainty_mm=0.52, source="assumed")
SPECK_UM = 30.0
WHOLE_PX = shadows(1300.0, F_NUMBER, PITCH_UM).half_width_um(SPECK_UM) / PITCH_UM
DEPTH = float(depth_curve(1300.0, F_NUMBER, PITCH_UM).depth(SPECK_UM))
WHOLE = MeasuredSpot(
    centre=FramePoint(row_px=3.0, col_px=70.0),
    depth_frac=DEPTH,
    snr=150.0,
    width_px=WHOLE_PX,
    length_px=WHOLE_PX,
    lost_area_px2=28.0,
    seen_depth_frac=0.9 * DEPTH,
    is_at_border=True,
)
CUT = replace(
    WHOLE,
    centre=FramePoint(row_px=0.8, col_px=70.0),
    width_px=0.3 * WHOLE_PX,
    depth_frac=0.6 * DEPTH,
    seen_depth_frac=0.5 * DEPTH,
    lost_area_px2=4.0,
)
HALVED = replace(WHOLE, width_px=0.55 * WHOLE_PX)
FIBRE = replace(WHOLE, length_px=6 * WHOLE_PX, seen_depth_frac=DEPTH)


def are_cut(
    *spots: MeasuredSpot, stack: Stack = STACK, f_number: float | None = F_NUMBER
) -> list[bool]:
    columns = MeasuredSpots.of(spots)
    cut: list[bool] = find_cut(columns, stack=stack, f_number=f_number, pitch_um=PITCH_UM).tolist()
    return cut


def test_a_narrow_strip_along_the_edge_is_cut() -> None:
    inside = replace(CUT, is_at_border=False)
    assert are_cut(CUT, HALVED, WHOLE, FIBRE, inside) == [True, False, False, False, False]
    assert are_cut(CUT, WHOLE, FIBRE, stack=ASSUMED) == [True, False, False]
    # Without the aperture nobody knows how narrow a shadow may be.
    assert are_cut(CUT, f_number=None) == [False]


def test_of_a_cut_mark_only_a_least_size_is_known() -> None:
    spots = MeasuredSpots.of([CUT, WHOLE])
    sized = size_particles(spots, (None, None), stack=STACK, f_number=F_NUMBER, pitch_um=PITCH_UM)
    unknown = (sized.particle_um, sized.least_um, sized.most_um, sized.lost_area_um2)
    assert [bool(np.isnan(column[0])) for column in unknown] == [True] * 4
    assert not np.isnan(sized.particle_um[1])
    assert sized.layer[0] == "unsure"
    assert "at least as large as a speck of 19 um" in sized.reason[0]
    assert sized.depth_frac[0] == pytest.approx(CUT.seen_depth_frac)
    # It is not said to show earlier than the true speck, nor to fade as a fibre.
    assert sized.shows_from_f[1] < sized.shows_from_f[0] < 2 * sized.shows_from_f[1]


def test_of_a_halved_mark_the_size_is_less_sure() -> None:
    spots = MeasuredSpots.of([HALVED, replace(HALVED, is_at_border=False)])
    sized = size_particles(spots, (None, None), stack=STACK, f_number=F_NUMBER, pitch_um=PITCH_UM)
    halved, seen = sized.most_um / sized.least_um
    # One in ten beside the tenth that a size without its light at hand is unsure by.
    assert halved == pytest.approx(seen**2**0.5, rel=0.02)
    assert sized.layer[0] == "filter stack"
