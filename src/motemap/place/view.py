"""The stored picture and the displayed one, by the Exif orientation tag.

Only pictures shown to people need this: positions on the sensor come from the stored picture.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.coords import FrameGeometry, FramePoint, ViewPoint
from motemap.facts.orientation import orientations

if TYPE_CHECKING:
    from motemap.facts.orientation import OrientationFact

AS_STORED: Final = 1
"""Tag value of a picture that needs no turning; also taken when there is no tag."""

FAR_SIDES: Final = frozenset({"right", "bottom"})
"""Sides of the display on which positions count down from the last pixel."""


def view_size(geometry: FrameGeometry) -> tuple[int, int]:
    """Return width and height of the picture as displayed [px]."""
    if _is_on_its_side(_fact(geometry)):
        return geometry.height_px, geometry.width_px
    return geometry.width_px, geometry.height_px


def to_view(point: FramePoint, geometry: FrameGeometry) -> ViewPoint:
    """Return where a stored position is seen once the picture is displayed upright.

    >>> stored = FrameGeometry(height_px=4000, width_px=6000, exif_orientation=6)
    >>> to_view(FramePoint(row_px=2999, col_px=500), stored)
    ViewPoint(right_px=1000, down_px=500)
    """
    fact = _fact(geometry)
    along_rows = _flip(point.row_px, geometry.height_px, fact.row0_side)
    along_cols = _flip(point.col_px, geometry.width_px, fact.col0_side)
    if _is_on_its_side(fact):
        return ViewPoint(right_px=along_rows, down_px=along_cols)
    return ViewPoint(right_px=along_cols, down_px=along_rows)


def from_view(point: ViewPoint, geometry: FrameGeometry) -> FramePoint:
    """Return the stored position of what is displayed at `point`; undoes `to_view`."""
    fact = _fact(geometry)
    on_its_side = _is_on_its_side(fact)
    along_rows = point.right_px if on_its_side else point.down_px
    along_cols = point.down_px if on_its_side else point.right_px
    return FramePoint(
        row_px=_flip(along_rows, geometry.height_px, fact.row0_side),
        col_px=_flip(along_cols, geometry.width_px, fact.col0_side),
    )


def _fact(geometry: FrameGeometry) -> OrientationFact:
    """Return what the orientation tag means; as stored when it is absent."""
    return orientations()[geometry.exif_orientation or AS_STORED]


def _is_on_its_side(fact: OrientationFact) -> bool:
    """Whether stored rows run down the left or right side of the display."""
    return fact.row0_side in {"left", "right"}


def _flip(index_px: float, n_px: int, zero_side: str) -> float:
    """Count from the other end when index 0 lies at the far side; its own inverse."""
    return n_px - 1 - index_px if zero_side in FAR_SIDES else index_px
