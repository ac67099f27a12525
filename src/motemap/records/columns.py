"""Measured marks column by column, for what is done to all marks of a frame at once."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records.detection import MeasuredSpot

FIBRE_ASPECT = 3.0
"""Length over width from which a mark is a fibre: its shadow fades with N, as that of an endless
strip, and what tells its size is its own width; a choice, not measured."""
RING_HOLE = 0.08
"""Share of a mark's inside that is clear, from which it is a ring."""
LOOP_HOOP = 0.75
"""A clear ring that encloses less than this share of what a circle as long would is a fibre's loop:
a quarter of it lies loose (drawn frames). Rings of drops have 0.94 and more (drawn), an oval twice
as long as wide 0.84 (derived)."""
LOOP_SNR = 40.0
"""Signal to noise with which an outline's length may be held against what it encloses."""

CLEAR_GAIN = 0.5
"""Bright over dark light from which on a mark is a clear drop: an opaque speck reaches 0.02-0.36, a
clear drop nearly 1 (derived)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredSpots:
    """The marks of a frame, (n,) each; what the columns hold says `MeasuredSpot`."""

    row_px: NDArray[np.float64]
    col_px: NDArray[np.float64]
    depth_frac: NDArray[np.float64]
    snr: NDArray[np.float64]
    width_px: NDArray[np.float64]
    length_px: NDArray[np.float64]
    lost_area_px2: NDArray[np.float64]
    gain_ratio: NDArray[np.float64]
    hollow_frac: NDArray[np.float64]
    hole_frac: NDArray[np.float64]
    hoop_frac: NDArray[np.float64]
    edge_px: NDArray[np.float64]
    blur_sigma_px: NDArray[np.float64]
    seen_depth_frac: NDArray[np.float64]
    calm_frac: NDArray[np.float64]
    significance: NDArray[np.float64]
    is_at_border: NDArray[np.bool_]
    has_neighbour: NDArray[np.bool_]

    @classmethod
    def of(cls, spots: Sequence[MeasuredSpot]) -> MeasuredSpots:
        """Lay out marks in columns, in their order."""
        return cls(
            row_px=np.array([spot.centre.row_px for spot in spots], np.float64),
            col_px=np.array([spot.centre.col_px for spot in spots], np.float64),
            depth_frac=np.array([spot.depth_frac for spot in spots], np.float64),
            snr=np.array([spot.snr for spot in spots], np.float64),
            width_px=np.array([spot.width_px for spot in spots], np.float64),
            length_px=np.array([spot.length_px for spot in spots], np.float64),
            lost_area_px2=np.array([spot.lost_area_px2 for spot in spots], np.float64),
            gain_ratio=np.array([spot.gain_ratio for spot in spots], np.float64),
            hollow_frac=np.array([spot.hollow_frac for spot in spots], np.float64),
            hole_frac=np.array([spot.hole_frac for spot in spots], np.float64),
            hoop_frac=np.array([spot.hoop_frac for spot in spots], np.float64),
            edge_px=np.array([spot.edge_px for spot in spots], np.float64),
            blur_sigma_px=np.array([spot.blur_sigma_px for spot in spots], np.float64),
            seen_depth_frac=np.array([spot.seen_depth_frac for spot in spots], np.float64),
            calm_frac=np.array([spot.calm_frac for spot in spots], np.float64),
            significance=np.array([spot.significance for spot in spots], np.float64),
            is_at_border=np.array([spot.is_at_border for spot in spots], np.bool_),
            has_neighbour=np.array([spot.has_neighbour for spot in spots], np.bool_),
        )

    def __len__(self) -> int:
        return self.depth_frac.size

    def are_long(self) -> NDArray[np.bool_]:
        """Return which marks are as long as a fibre, whatever they are called, (n,)."""
        are_long: NDArray[np.bool_] = self.length_px >= FIBRE_ASPECT * self.width_px
        return are_long

    def are_clear(self) -> NDArray[np.bool_]:
        """Return which marks move light rather than take it, (n,): bright and dark nearly balance."""
        are_clear: NDArray[np.bool_] = self.gain_ratio >= CLEAR_GAIN
        return are_clear

    def are_rings(self) -> NDArray[np.bool_]:
        """Return which marks close round a clear middle, as no fibre's loop does, (n,)."""
        is_loop = self.are_long() & (self.hoop_frac < LOOP_HOOP) & (self.snr > LOOP_SNR)
        are_rings: NDArray[np.bool_] = (self.hole_frac > RING_HOLE) & ~is_loop
        return are_rings

    def some(self, members: NDArray[np.intp]) -> MeasuredSpots:
        """Return some of the marks, in the order asked for."""
        return MeasuredSpots(
            **{field.name: getattr(self, field.name)[members] for field in fields(self)}
        )
