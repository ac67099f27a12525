"""How wide and how soft a shadow from the filter stack can be in a given frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.stacks import STACK_RANGE_UM

if TYPE_CHECKING:
    from motemap.records import MeasuredSpots, Stack

STACK_USUAL_MM = 0.7
"""Thinnest that is at all common (from memory)."""
UNKNOWN_F = (11.0, 32.0)
UNKNOWN_PITCH_UM = (3.0, 8.0)
"""Between these lies what the file does not tell: test shots are stopped down, and pixels of
cameras with exchangeable lenses are as wide (common practice, no source)."""
MEASURED_SPREAD = 0.12
"""Least share either way by which a distance that is known may be off; a choice."""
TELLING_SIGNIFICANCE, TELLING_ELONGATION, TELLING_SPOTS = 11.0, 1.8, 5
"""How clear and how compact specks are that tell the width of shadows, and how many it takes."""
SPECK_WIDTH_OF_BLUR = 0.72
"""Width at half depth of a small speck's shadow over its blur disc, by wave optics."""
LEAST_OF_SEEN = 0.8
"""No blur disc of the frame is smaller than this share of what its specks tell: errors of
measuring."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadowScale:
    """Bounds of the blur disc of dust on the filter stack.

    Parameters
    ----------
    blur_low_px, blur_high_px : float
        Smallest and largest diameter it can have [stored px].
    blur_usual_px : float
        Smallest diameter that is at all common, as a faint mark has to have [stored px].
    pitch_um : float or None
        Distance of pixel centres [um].
    is_measured : bool
        Whether the bounds come from this frame or from a known stack.
    is_smeared : bool
        Whether defects of the sensor are smeared over their neighbours.
    """

    blur_low_px: float
    blur_high_px: float
    blur_usual_px: float
    pitch_um: float | None
    is_measured: bool = False
    is_smeared: bool = False

    @classmethod
    def from_optics(
        cls,
        stack: Stack | None,
        f_number: float | None,
        pitch_um: float | None,
        *,
        is_smeared: bool = False,
    ) -> ShadowScale:
        """Derive the bounds from what is known; an unknown widens them.

        Parameters
        ----------
        stack : Stack or None
            Used when it was measured or given; an assumed one says nothing new.
        f_number : float or None
        pitch_um : float or None
            [um]
        is_smeared : bool
        """
        is_measured = False
        low_mm, high_mm = (um / UM_PER_MM for um in STACK_RANGE_UM)
        usual_mm = STACK_USUAL_MM
        if stack is not None and stack.distance_mm is not None and stack.source != "assumed":
            spread = max(MEASURED_SPREAD, (stack.uncertainty_mm or 0.0) / stack.distance_mm)
            is_measured = f_number is not None and pitch_um is not None
            low_mm = usual_mm = stack.distance_mm * (1 - spread)
            high_mm = stack.distance_mm * (1 + spread)
        wide_f, narrow_f = UNKNOWN_F if f_number is None else (f_number, f_number)
        fine_um, coarse_um = UNKNOWN_PITCH_UM if pitch_um is None else (pitch_um, pitch_um)
        return cls(
            blur_low_px=low_mm * UM_PER_MM / narrow_f / coarse_um,
            blur_high_px=high_mm * UM_PER_MM / wide_f / fine_um,
            blur_usual_px=usual_mm * UM_PER_MM / narrow_f / coarse_um,
            pitch_um=pitch_um,
            is_measured=is_measured,
            is_smeared=is_smeared,
        )

    def narrowed_by(self, spots: MeasuredSpots) -> ShadowScale:
        """Learn from the frame's own clear specks how narrow a shadow can be in it.

        Specks smaller than the blur disc all cast shadows of one width. It serves where
        aperture, sensor or stack are unknown; the upper bound stays as it is.

        Parameters
        ----------
        spots : MeasuredSpots
            All marks of the frame.
        """
        is_telling = spots.significance > TELLING_SIGNIFICANCE
        is_telling &= spots.length_px < TELLING_ELONGATION * spots.width_px
        widths = np.sort(spots.width_px[is_telling])
        if len(widths) < TELLING_SPOTS:
            return self
        blur_px = float(widths[len(widths) // 2]) / SPECK_WIDTH_OF_BLUR
        return replace(
            self,
            blur_low_px=max(self.blur_low_px, LEAST_OF_SEEN * blur_px),
            blur_usual_px=max(self.blur_usual_px, LEAST_OF_SEEN * blur_px),
            is_measured=True,
        )
