"""The optics of one frame as far as they are known, and what follows for the cell size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from motemap.coords import UM_PER_MM

if TYPE_CHECKING:
    from motemap.records import Frame, ImageInfo

FINEST_STACK_MM, WIDE_STACK_MM = 0.5, 3.0
"""Air-equivalent distances that cells are made fine enough and the search wide enough for:
cover glasses alone, up to the thick filters of older bodies (from memory; a mark from beyond
either is found all the same, at a small loss). What a mark is taken for is asked elsewhere, with
a margin for errors of measuring around these two."""
USUAL_STACK_MM = 1.8
"""Distance up to which most bodies lie: most shadows are no wider than it throws them."""
BACKGROUND_STACK_MM = 1.6
"""Distance that the size of the background's boxes is laid out for."""
WIDEST_PARTICLE_UM = 150.0
"""Largest grain whose shadow is searched for as a whole."""
USUAL_F = 22.0
"""Taken where the file does not say: test shots are asked for at the narrowest aperture."""
USUAL_PITCH_UM = 4.5
"""Distance of pixels taken where it is unknown: 36 mm across 8000 of them."""
CELLS_ACROSS_BLUR = 2.4
"""Cells across the narrowest blur disc; more only cost time, see `choose_bin`."""
LARGEST_BIN_PX = 4
"""So that what is left of a pixel pattern or a defect stays within a cell."""
SMALLEST_SIDE_CELLS = 200
"""Small pictures keep so many cells along a side: the background needs some boxes of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownOptics:
    """The optics of one frame, as far as they are known.

    Parameters
    ----------
    f_number : float or None
    pitch_um : float or None
        Distance of stored pixels [um].
    """

    f_number: float | None
    pitch_um: float | None

    @classmethod
    def of(cls, frame: Frame) -> KnownOptics:
        """Return what the file of a frame tells, and its sensor."""
        return cls(f_number=frame.metadata.exposure.f_number, pitch_um=frame.sensor.pitch_um)

    def blur_px(self, stack_mm: float = BACKGROUND_STACK_MM) -> float:
        """Return the blur disc's diameter for a stack distance; unknowns are the usual ones."""
        f_number = self.f_number or USUAL_F
        return stack_mm * UM_PER_MM / f_number / (self.pitch_um or USUAL_PITCH_UM)

    @property
    def usual_px(self) -> float:
        """Width up to which most shadows lie [px]."""
        return self.blur_px(USUAL_STACK_MM)

    @property
    def widest_px(self) -> float:
        """Width of the widest shadow from the filter stack [px]."""
        return self.blur_px(WIDE_STACK_MM) + WIDEST_PARTICLE_UM / (self.pitch_um or USUAL_PITCH_UM)


def choose_bin(info: ImageInfo, f_number: float | None, pitch_um: float | None) -> int:
    """Return how many stored pixels a cell may average along a side.

    Nothing is gained below about two cells across the blur of the thinnest stack: a shadow is never
    narrower than about half of that.
    """
    optics = KnownOptics(f_number=f_number, pitch_um=pitch_um)
    wished = round(optics.blur_px(FINEST_STACK_MM) / CELLS_ACROSS_BLUR)
    room = min(info.width_px, info.height_px) // SMALLEST_SIDE_CELLS
    return max(1, min(wished, LARGEST_BIN_PX, room))
