"""Marks get their order in the report and their places on the sensor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.place.frame import on_sensor, scale, why_unplaced
from motemap.place.words import words_of_fractions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.coords import FrameGeometry
    from motemap.records import MeasuredSpots


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """The n marks of a frame in the order of the report: deepest first, then by row and column.

    Parameters
    ----------
    order : (n,) int
        Which of the marks each is, counted from 0.
    from_left_mm, from_top_mm : (n,) float64
        Positions on the sensor; NaN where `why_unplaced` has a reason.
    place : tuple of str or None
        The same in words.
    """

    order: NDArray[np.intp]
    from_left_mm: NDArray[np.float64]
    from_top_mm: NDArray[np.float64]
    place: tuple[str | None, ...]


def place(spots: MeasuredSpots, geometry: FrameGeometry, depth_frac: NDArray[np.float64]) -> Placed:
    """Put the marks of a frame in order and find their places on the sensor.

    Parameters
    ----------
    spots : MeasuredSpots
        The marks in any order.
    geometry : FrameGeometry
        Size of the stored picture and of its pixels.
    depth_frac : (n,) float64
        Depth of each, as well as it is known.
    """
    order = np.lexsort((spots.col_px, spots.row_px, -depth_frac))
    if why_unplaced(geometry) is not None:
        unknown = np.full(len(spots), np.nan)
        return Placed(
            order=order, from_left_mm=unknown, from_top_mm=unknown, place=(None,) * len(spots)
        )
    mm_per_px, height_mm = scale(geometry)
    row_px, col_px = spots.row_px[order], spots.col_px[order]
    left_mm, top_mm = on_sensor(row_px, col_px, mm_per_px, height_mm)
    words = words_of_fractions(left_mm / (geometry.width_px * mm_per_px), top_mm / height_mm)
    return Placed(order=order, from_left_mm=left_mm, from_top_mm=top_mm, place=tuple(words))
