"""What is true of a drawn frame, in stored pixels, in the form the scoring needs.

The truth file knows a mark's centre only; a long mark is also found when the report points
anywhere on it, so its middle line is kept here as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.synth.films import RingMask, SmearMask
from motemap.synth.masks import FibreMask

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import Layer
    from motemap.synth.frame import DrawnFrame
    from motemap.synth.marks import Form, Mark
    from motemap.synth.masks import Mask
    from motemap.synth.spec import FrameSpec
    from motemap.synth.truth import TrueMark

REACH_MIN_PX = 3.0
COMPACT_REACH_OF_WIDTH = 0.6
LONG_REACH_OF_WIDTH = 0.75
CENTROID_REACH_OF_EXTENT = 0.15
N_RING_POINTS = 48
N_BAND_POINTS = 25
FILMS: frozenset[Form] = frozenset({"smear", "streak", "ring", "clear drop", "dirty drop"})
"""Films and drops: any kind will do, and the widest may be taken for a shadow from the lens."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """One drawn mark.

    Parameters
    ----------
    row_px, col_px : float
        Centre in the stored picture [px].
    width_px : float
        Full width at half depth [px].
    line_px : (N, 2) float64
        Rows and columns along the mark; one point for a compact one.
    reach_px : float
        How far from the line a report may point and still mean this mark.
    centroid_reach_px : float
        How far from the centroid of a long mark's line.
    light_frac : float
        Light there, as a share of the brightest part of the frame (0-1).
    """

    form: Form
    layer: Layer
    row_px: float
    col_px: float
    depth_frac: float
    snr: float
    width_px: float
    lost_area_px2: float
    line_px: NDArray[np.float64]
    reach_px: float
    centroid_reach_px: float = 0.0
    light_frac: float = 1.0

    @property
    def is_lens(self) -> bool:
        """Whether the mark lies on the lens and counts for nothing."""
        return self.layer == "lens side"

    @property
    def is_film(self) -> bool:
        """Whether the mark is a film or a drop."""
        return self.form in FILMS

    def reach_ratio(self, rows_px: Floats, cols_px: Floats) -> Floats:
        """Return how far each position is from the mark, over how far it may be.

        A report means a long mark when it points at its line, or near the centroid of the whole
        or of the part in the frame.
        """
        ratio = self.distance_px(rows_px, cols_px) / self.reach_px
        centroid_reach_px = max(self.centroid_reach_px, self.reach_px)
        seen_px = self.line_px.mean(axis=0)
        for row_px, col_px in (seen_px, (self.row_px, self.col_px)):
            away_px = np.hypot(rows_px - row_px, cols_px - col_px)
            ratio = np.minimum(ratio, away_px / centroid_reach_px)
        return ratio

    def distance_px(self, rows_px: Floats, cols_px: Floats) -> Floats:
        """Return the distance of each position to the mark's line [px]."""
        down = rows_px[:, None] - self.line_px[None, :, 0]
        right = cols_px[:, None] - self.line_px[None, :, 1]
        nearest: Floats = np.hypot(down, right).min(axis=1)
        return nearest


Floats = np.ndarray[tuple[int], np.dtype[np.float64]]


def truths_of(drawn: DrawnFrame, laid: Sequence[Mark]) -> tuple[Truth, ...]:
    """Return the truth of a drawn frame, mark by mark.

    Parameters
    ----------
    drawn : DrawnFrame
    laid : sequence of Mark
        The marks it was drawn from, in the same order.
    """
    return tuple(
        _truth(true_mark, mark, drawn.spec)
        for true_mark, mark in zip(drawn.marks, laid, strict=True)
    )


def _truth(true_mark: TrueMark, mark: Mark, spec: FrameSpec) -> Truth:
    pitch_um = spec.pitch_um * spec.shrink
    width_px = true_mark.width_um / pitch_um
    offsets_px = line_offsets_um(mark.mask) / pitch_um
    if spec.file.is_turned:
        # A quarter turn clockwise: right becomes down, down becomes left.
        offsets_px = np.stack([offsets_px[:, 1], -offsets_px[:, 0]], axis=1)
    centre = np.array([true_mark.image_y_px, true_mark.image_x_px])
    height_px, width_px_all = drawn_sides_px(spec)
    line_px = _inside(centre + offsets_px, height_px, width_px_all)
    is_long = len(offsets_px) > 1
    of_width = LONG_REACH_OF_WIDTH if is_long else COMPACT_REACH_OF_WIDTH
    return Truth(
        form=true_mark.form,
        layer=true_mark.layer,
        row_px=true_mark.image_y_px,
        col_px=true_mark.image_x_px,
        depth_frac=true_mark.depth_frac,
        snr=true_mark.snr,
        width_px=width_px,
        lost_area_px2=true_mark.lost_area_um2 / pitch_um**2,
        line_px=line_px,
        reach_px=max(REACH_MIN_PX, of_width * width_px),
        centroid_reach_px=CENTROID_REACH_OF_EXTENT * _extent_px(line_px),
    )


def drawn_sides_px(spec: FrameSpec) -> tuple[int, int]:
    """Return height and width of the stored picture [px]."""
    height_px, width_px = spec.height_px // spec.shrink, spec.width_px // spec.shrink
    return (width_px, height_px) if spec.file.is_turned else (height_px, width_px)


def _inside(line_px: NDArray[np.float64], height_px: int, width_px: int) -> NDArray[np.float64]:
    """Return the part of a line that lies in the frame; all of it if none does."""
    rows, cols = line_px[:, 0], line_px[:, 1]
    is_inside = (rows >= 0) & (rows <= height_px - 1) & (cols >= 0) & (cols <= width_px - 1)
    return line_px[is_inside] if is_inside.any() else line_px


def _extent_px(line_px: NDArray[np.float64]) -> float:
    return float(np.hypot(*np.ptp(line_px, axis=0)))


def line_offsets_um(mask: Mask) -> NDArray[np.float64]:
    """Return points along a mark, down and right from its centre [um]."""
    if isinstance(mask, FibreMask):
        return np.asarray(mask.line_um, dtype=np.float64)[:, ::-1]
    if isinstance(mask, RingMask):
        angle = np.linspace(0.0, 2.0 * math.pi, N_RING_POINTS, endpoint=False)
        rim = 0.5 * mask.outline.diameter_um * np.stack([np.sin(angle), np.cos(angle)], axis=1)
        return np.concatenate([rim, np.zeros((1, 2))])
    if isinstance(mask, SmearMask):
        along_um = np.linspace(-0.5, 0.5, N_BAND_POINTS) * max(mask.length_um - mask.width_um, 0.0)
        turn = math.radians(mask.turn_deg)
        band: NDArray[np.float64] = along_um[:, None] * np.array([[math.sin(turn), math.cos(turn)]])
        return band
    return np.zeros((1, 2))
