"""The area that a map draws: the sensor as held, or the bare picture where that is unknown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from motemap.coords import UM_PER_MM
from motemap.errors import OutputError
from motemap.report.pictures.view import View, view_of

if TYPE_CHECKING:
    from motemap.records import FrameReport, Spot
    from motemap.report.pictures.scene import Point
    from motemap.report.pictures.view import Hold

UNITS_PER_SIDE = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """The drawn area and the way into it.

    Parameters
    ----------
    upright_width, upright_height : float
        Size in the upright view [um]; of a bare picture as stored [px].
    per_um : float or None
        Scene units for one micrometre on the sensor; None when that is unknown.
    is_sensor : bool
        Whether it is the sensor; else it is the stored picture.
    """

    upright_width: float
    upright_height: float
    per_um: float | None
    view: View
    is_sensor: bool

    @property
    def width(self) -> float:
        """Width as seen [scene units]."""
        return self.view.size(self.upright_width, self.upright_height)[0]

    @property
    def height(self) -> float:
        """Height as seen [scene units]."""
        return self.view.size(self.upright_width, self.upright_height)[1]

    @property
    def unit(self) -> float:
        """A hundredth of the longer side: type and gaps are measured in it [scene units]."""
        return max(self.upright_width, self.upright_height) / UNITS_PER_SIDE

    @property
    def per_tick(self) -> float:
        """Scene units for one step of the finest ruler: a millimetre, or a hundred pixels."""
        return UM_PER_MM if self.is_sensor else 100.0

    def point(self, spot: Spot) -> Point:
        """Return where a mark lies."""
        if self.is_sensor and spot.from_left_mm is not None and spot.from_top_mm is not None:
            upright = (spot.from_left_mm * UM_PER_MM, spot.from_top_mm * UM_PER_MM)
        else:
            upright = (spot.image_x_px + 0.5, spot.image_y_px + 0.5)
        return self.view.point(upright, self.upright_width, self.upright_height)


def seen_mm(plate: Plate, spot: Spot) -> Point | None:
    """Return where a mark lies from the left and the top edge as seen [mm]; None if unknown."""
    if not plate.is_sensor:
        return None
    right, down = plate.point(spot)
    return right / UM_PER_MM, down / UM_PER_MM


def place_cells(plate: Plate, spot: Spot) -> tuple[str, str]:
    """Return the cells of a table that say where a mark lies, in mm as seen or else in px."""
    seen = seen_mm(plate, spot)
    if seen is None:
        return f"{spot.image_x_px:.0f}", f"{spot.image_y_px:.0f}"
    return f"{seen[0]:.1f}", f"{seen[1]:.1f}"


def plate_for(report: FrameReport, hold: Hold) -> Plate:
    """Return the area to draw for a report.

    Raises
    ------
    OutputError
        If the file could not be read, so that there is nothing to draw.
    """
    sensor, image = report.sensor, report.image
    if image is None:
        raise OutputError(
            "There is nothing to draw of a picture that could not be read.",
            repair="Repair or leave out this file; the report says what is wrong with it.",
            path=report.file,
        )
    pitch_um = sensor.pitch_um if sensor else None
    if sensor and sensor.width_mm and sensor.height_mm and is_placed(report):
        return Plate(
            upright_width=sensor.width_mm * UM_PER_MM,
            upright_height=sensor.height_mm * UM_PER_MM,
            per_um=1.0,
            view=view_of(hold),
            is_sensor=True,
        )
    return Plate(
        upright_width=float(image.width_px),
        upright_height=float(image.height_px),
        per_um=1.0 / pitch_um if pitch_um else None,
        view=View(meaning="the stored picture; its place on the sensor is unknown"),
        is_sensor=False,
    )


def is_placed(report: FrameReport) -> bool:
    """Whether the marks of a report have positions on the sensor."""
    image = report.image
    # A stored picture that stands upright was turned after the shot; which way is lost.
    if image is None or image.width_px < image.height_px:
        return False
    return all(
        spot.from_left_mm is not None and spot.from_top_mm is not None for spot in report.spots
    )
