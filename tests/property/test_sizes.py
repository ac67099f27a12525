"""Whatever is measured of a mark, its size is a sane number."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sized import SPOT, size_one

if TYPE_CHECKING:
    from motemap.records import MeasuredSpot


@st.composite
def marks(draw: st.DrawFn) -> MeasuredSpot:
    width_px = draw(st.floats(0.5, 600.0))
    return replace(
        SPOT,
        depth_frac=draw(st.floats(-0.01, 1.0)),
        width_px=width_px,
        length_px=width_px * draw(st.floats(1.0, 40.0)),
        lost_area_px2=draw(st.floats(-50.0, 1e5)),
        snr=draw(st.floats(1.0, 1e4)),
        gain_ratio=draw(st.floats(0.0, 3.0)),
        edge_px=draw(st.floats(0.1, 400.0)),
    )


@given(spot=marks())
def test_any_mark_gets_sane_numbers(spot: MeasuredSpot) -> None:
    particles = size_one(spot, f_number=16.0, pitch_um=4.0)
    (particle_um,) = particles.particle_um
    if not np.isnan(particle_um):
        assert 0 <= particles.least_um[0] <= particle_um <= particles.most_um[0] < np.inf
    assert particles.depth_at is not None
    assert ((particles.depth_at >= 0) & (particles.depth_at <= 1)).all()
