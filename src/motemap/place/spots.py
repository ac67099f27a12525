"""Measured marks become spots with a number, a place and a size on the sensor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from motemap.place.frame import place_points
from motemap.records import MeasuredSpot, Spot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.coords import FrameGeometry, SensorPoint


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Marks of a frame as spots.

    Parameters
    ----------
    spots : tuple of Spot
        Deepest first, then by row, then by column, numbered from 1. Positions on the sensor
        are None where `why_unplaced` has a reason, sizes in um where the pitch is unknown.
    order : tuple of int
        Which of the marks each spot is, counted from 0.
    """

    spots: tuple[Spot, ...]
    order: tuple[int, ...]


def place(
    measured: Sequence[MeasuredSpot],
    geometry: FrameGeometry,
    depths_frac: Sequence[float] | None = None,
) -> Placed:
    """Give each mark of a frame its number and its place on the sensor.

    Parameters
    ----------
    measured : sequence of MeasuredSpot
        The marks in any order.
    geometry : FrameGeometry
        Size of the stored picture and of its pixels.
    depths_frac : sequence of float, optional
        Depth of each, where that is known better than it was measured.
    """
    if depths_frac is None:
        depths_frac = [each.depth_frac for each in measured]
    ranked = sorted(
        (-depth_frac, each.centre.row_px, each.centre.col_px, index)
        for index, (each, depth_frac) in enumerate(zip(measured, depths_frac, strict=True))
    )
    order = tuple(index for *_, index in ranked)
    placed = place_points([measured[index].centre for index in order], geometry)
    spots = tuple(
        _spot(
            measured[index],
            depths_frac[index],
            geometry.pitch_um,
            number,
            None if placed is None else placed[number - 1],
        )
        for number, index in enumerate(order, start=1)
    )
    return Placed(spots=spots, order=order)


def _spot(
    measured: MeasuredSpot,
    depth_frac: float,
    pitch_um: float | None,
    number: int,
    placed: tuple[SensorPoint, str] | None,
) -> Spot:
    """Return one mark as a spot called `number`."""
    there, words = placed if placed is not None else (None, None)
    return Spot(
        id=number,
        image_x_px=measured.centre.col_px,
        image_y_px=measured.centre.row_px,
        from_left_mm=there.from_left_mm if there else None,
        from_top_mm=there.from_top_mm if there else None,
        place=words,
        depth_frac=depth_frac,
        snr=measured.snr,
        width_um=None if pitch_um is None else measured.width_px * pitch_um,
        length_um=None if pitch_um is None else measured.length_px * pitch_um,
        lost_area_um2=None if pitch_um is None else measured.lost_area_px2 * pitch_um**2,
    )
