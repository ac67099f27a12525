"""Measured marks become spots with a number, a place and a size on the sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.place.frame import place_point
from motemap.records import MeasuredSpot, Spot

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.coords import FrameGeometry


def place(measured: Iterable[MeasuredSpot], geometry: FrameGeometry) -> tuple[Spot, ...]:
    """Give each mark of a frame its number and its place on the sensor.

    Parameters
    ----------
    measured : iterable of MeasuredSpot
        The marks in any order.
    geometry : FrameGeometry
        Size of the stored picture and of its pixels.

    Returns
    -------
    tuple of Spot
        Deepest first, then by row, then by column, numbered from 1. Positions on the sensor
        are None where `why_unplaced` has a reason, sizes in um where the pitch is unknown.
    """
    return tuple(
        place_spot(each, geometry, number)
        for number, each in enumerate(sorted(measured, key=_report_order), start=1)
    )


def place_spot(measured: MeasuredSpot, geometry: FrameGeometry, number: int) -> Spot:
    """Return one mark as a spot called `number`."""
    placed = place_point(measured.centre, geometry)
    there, words = placed if placed is not None else (None, None)
    pitch_um = geometry.pitch_um
    return Spot(
        id=number,
        image_x_px=measured.centre.col_px,
        image_y_px=measured.centre.row_px,
        from_left_mm=there.from_left_mm if there else None,
        from_top_mm=there.from_top_mm if there else None,
        place=words,
        depth_frac=measured.depth_frac,
        snr=measured.snr,
        width_um=None if pitch_um is None else measured.width_px * pitch_um,
        length_um=None if pitch_um is None else measured.length_px * pitch_um,
        lost_area_um2=None if pitch_um is None else measured.lost_area_px2 * pitch_um**2,
    )


def _report_order(measured: MeasuredSpot) -> tuple[float, float, float]:
    """Sort key: deepest first, then from the top, then from the left."""
    return -measured.depth_frac, measured.centre.row_px, measured.centre.col_px
