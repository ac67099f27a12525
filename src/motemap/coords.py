"""Where things are: three kinds of position, and the geometry that ties them together.

A number pair is only useful together with its frame, so each frame has its own type and a
type checker refuses one where another is due. See ``docs/reference/coordinates.md``.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from motemap.errors import GeometryError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MM_PER_UM = 1e-3
"""Millimetres in a micrometre."""

UM_PER_MM = 1e3
"""Micrometres in a millimetre."""
HALF_PX = 0.5
"""A pixel or cell reaches so far beyond its centre, where its whole number lies."""

Place = TypeVar("Place", float, "NDArray[np.float64]")


def px_to_cell(place_px: Place, bin_px: int) -> Place:
    """Return the row or column on a grid of cells, `bin_px` pixels a side, of one in pixels.

    >>> px_to_cell(1.0, 3), px_to_cell(-0.5, 3)
    (0.0, -0.5)
    """
    return (place_px + HALF_PX) / bin_px - HALF_PX


def cell_to_px(place_cell: Place, bin_px: int) -> Place:
    """Return the row or column in stored pixels of one on a grid of cells; undoes `px_to_cell`.

    >>> cell_to_px(10.0, 4)
    41.5
    """
    return (place_cell + HALF_PX) * bin_px - HALF_PX


@dataclass(frozen=True, slots=True, kw_only=True)
class FramePoint:
    """A position in the picture as stored by the camera, before any Exif rotation.

    0-based, whole numbers at pixel centres; for raw, the visible area without margins.
    """

    row_px: float
    col_px: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.row_px) and math.isfinite(self.col_px)):
            raise GeometryError(
                f"Position {self.row_px}, {self.col_px} is not a number.",
                repair="This is a fault of the program; please report it.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewPoint:
    """A position in the picture as displayed, after the Exif rotation; for pictures only."""

    right_px: float
    down_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorPoint:
    """A position on the sensor as a person sees it looking into the mount, camera upright.

    Measured from the edges of the imaging area.
    """

    from_left_mm: float
    from_top_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameGeometry:
    """Size of a stored picture and of its pixels.

    Parameters
    ----------
    height_px, width_px : int
        Stored size, before any rotation.
    exif_orientation : int or None
        1-8, or None when unknown.
    pitch_um : float or None
        Distance of pixel centres on the sensor [um]; None when the sensor is unknown.
    """

    height_px: int
    width_px: int
    exif_orientation: int | None = None
    pitch_um: float | None = None

    @property
    def is_placeable(self) -> bool:
        """Whether image positions can be carried over to the sensor.

        A stored picture that stands upright (portrait) was turned by a program after the
        camera wrote it; which way is lost.
        """
        return self.pitch_um is not None and self.width_px >= self.height_px

    @property
    def sensor_height_mm(self) -> float | None:
        """Height of the imaging area [mm]."""
        return None if self.pitch_um is None else self.height_px * self.pitch_um * MM_PER_UM

    @property
    def sensor_width_mm(self) -> float | None:
        """Width of the imaging area [mm]."""
        return None if self.pitch_um is None else self.width_px * self.pitch_um * MM_PER_UM
