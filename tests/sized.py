"""One mark sized by itself."""

from __future__ import annotations

from motemap.coords import FramePoint
from motemap.particle import Particles, size_particles
from motemap.records import MeasuredSpot, MeasuredSpots, Stack
from motemap.settings import WorkSettings
from specked import PITCH_UM

STACK = Stack(distance_mm=1.3, uncertainty_mm=0.04, source="measured")
SPOT = MeasuredSpot(
    centre=FramePoint(row_px=40.0, col_px=60.0),
    depth_frac=0.2,
    snr=120.0,
    width_px=9.0,
    length_px=9.5,
    lost_area_px2=14.0,
)


def size_one(
    spot: MeasuredSpot,
    *,
    f_number: float | None = 22.0,
    pitch_um: float | None = PITCH_UM,
    work: WorkSettings | None = None,
) -> Particles:
    """Return the particle of one mark whose light was not measured."""
    return size_particles(
        MeasuredSpots.of([spot]),
        [None],
        stack=STACK,
        f_number=f_number,
        pitch_um=pitch_um,
        work=work or WorkSettings(),
    )
