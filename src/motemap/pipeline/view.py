"""The optics of one frame as far as they are known, and what follows for the cell size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from motemap.coords import UM_PER_MM
from motemap.optics.vision import Viewing
from motemap.particle import Onlooker

if TYPE_CHECKING:
    from motemap.records import ImageInfo
    from motemap.settings import WorkSettings

WIDEST_PARTICLE_UM = 150.0
WIDE_STACK_MM = 3.0
BACKGROUND_STACK_MM = 1.6
"""Stack distance that the size of the background's boxes is laid out for."""
USUAL_STACK_MM = 1.8
FINEST_STACK_MM = 0.5
CELLS_ACROSS_BLUR = 2.4
LARGEST_BIN_PX = 4
SMALLEST_SIDE_CELLS = 200
USUAL_F = 22.0
USUAL_PITCH_UM = 4.5


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The optics of one frame, as far as they are known.

    Parameters
    ----------
    f_number : float or None
    pitch_um : float or None
        Distance of stored pixels [um].
    """

    f_number: float | None
    pitch_um: float | None

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


def onlooker_for(image: ImageInfo, work: WorkSettings) -> Onlooker | None:
    """Return the eye that decides what shows; None when the depth alone does.

    Raises
    ------
    SettingsError
        If the way of looking at the picture is unknown.
    """
    if work.view is None:
        return None
    long_side_px = max(image.width_px, image.height_px)
    return Onlooker(viewing=Viewing.parse(work.view), picture_px=float(long_side_px))


def choose_bin(info: ImageInfo, f_number: float | None, pitch_um: float | None) -> int:
    """Return how many stored pixels a cell may average along a side.

    Nothing is gained below about two cells across the blur of the thinnest stack: a shadow is never
    narrower than about half of that.
    """
    view = View(f_number=f_number, pitch_um=pitch_um)
    wished = round(view.blur_px(FINEST_STACK_MM) / CELLS_ACROSS_BLUR)
    room = min(info.width_px, info.height_px) // SMALLEST_SIDE_CELLS
    return max(1, min(wished, LARGEST_BIN_PX, room))
