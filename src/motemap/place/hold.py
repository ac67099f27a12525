"""Other ways of holding the body while looking at the sensor.

Reports stay in one frame, looking into the mount with the camera upright. For the cleaning
bench that frame is turned or mirrored here. What turns is the view of the sensor, not the
sensor: a person who lays the camera on its back still looks into the mount.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.coords import Place, SensorPoint
from motemap.errors import GeometryError, SettingsError
from motemap.facts.table import simplify
from motemap.place.words import words_of_fractions

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from motemap.records import Sensor


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A way of holding the body.

    Parameters
    ----------
    name : str
        What the user types.
    meaning : str
        How the body is held, for people.
    quarter_turns : int
        Clockwise turns of 90 degrees that the view of the sensor makes (0-3).
    is_mirrored : bool
        Whether left and right change places before the turn.
    """

    name: str
    meaning: str
    quarter_turns: int = 0
    is_mirrored: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldPoint:
    """A position on the sensor as seen with the body held in some way [mm].

    Measured from the left and upper edge of what the person sees.
    """

    from_left_mm: float
    from_top_mm: float


UPRIGHT: Final = Hold(name="upright", meaning="facing you, looking into the mount, top plate up")

HOLDS: Final = (
    UPRIGHT,
    Hold(
        name="upside-down",
        meaning="facing you, looking into the mount, top plate down",
        quarter_turns=2,
    ),
    Hold(
        name="on-back-top-away",
        meaning="on its back on the table, looking down into the mount, top plate away from you",
    ),
    Hold(
        name="on-back-top-near",
        meaning="on its back on the table, looking down into the mount, top plate toward you",
        quarter_turns=2,
    ),
    Hold(
        name="grip-up",
        meaning="looking into the mount, the camera stood on end, right-hand grip up",
        quarter_turns=1,
    ),
    Hold(
        name="grip-down",
        meaning="looking into the mount, the camera stood on end, right-hand grip down",
        quarter_turns=3,
    ),
    Hold(
        name="from-behind",
        meaning="seen from behind as when taking a picture, top plate up, through the body",
        is_mirrored=True,
    ),
)
"""Every way of holding the body that has a name here; the first is the reports' own."""


def find_hold(name: str) -> Hold:
    """Return the way of holding called `name`, whatever its case, blanks and hyphens.

    Raises
    ------
    SettingsError
        If there is none of that name; the message lists those there are.

    >>> find_hold("Upside Down").quarter_turns
    2
    """
    for hold in HOLDS:
        if simplify(hold.name) == simplify(name):
            return hold
    raise SettingsError(
        f"'{name}' is no way of holding the body known here.",
        repair=f"Use {', '.join(hold.name for hold in HOLDS)}.",
    )


def held_size(sensor: Sensor, hold: Hold) -> tuple[float, float]:
    """Return width and height of the sensor as seen [mm].

    Raises
    ------
    GeometryError
        If the sensor's size is unknown.
    """
    width_mm, height_mm = _size(sensor)
    return (height_mm, width_mm) if hold.quarter_turns % 2 else (width_mm, height_mm)


def to_hold(point: SensorPoint, sensor: Sensor, hold: Hold) -> HeldPoint:
    """Return where a position on the sensor is seen with the body held so.

    Raises
    ------
    GeometryError
        If the sensor's size is unknown.
    """
    left_mm, top_mm = _turned(point.from_left_mm, point.from_top_mm, sensor, hold)
    return HeldPoint(from_left_mm=left_mm, from_top_mm=top_mm)


def _turned(left_mm: Place, top_mm: Place, sensor: Sensor, hold: Hold) -> tuple[Place, Place]:
    width_mm, height_mm = _size(sensor)
    if hold.is_mirrored:
        left_mm = width_mm - left_mm
    for _ in range(hold.quarter_turns):
        left_mm, top_mm = height_mm - top_mm, left_mm
        width_mm, height_mm = height_mm, width_mm
    return left_mm, top_mm


def from_hold(point: HeldPoint, sensor: Sensor, hold: Hold) -> SensorPoint:
    """Return the position on the sensor of what is seen at `point`; undoes `to_hold`.

    Raises
    ------
    GeometryError
        If the sensor's size is unknown.
    """
    width_mm, height_mm = held_size(sensor, hold)
    left_mm, top_mm = point.from_left_mm, point.from_top_mm
    for _ in range(hold.quarter_turns):
        left_mm, top_mm = top_mm, width_mm - left_mm
        width_mm, height_mm = height_mm, width_mm
    if hold.is_mirrored:
        left_mm = width_mm - left_mm
    return SensorPoint(from_left_mm=left_mm, from_top_mm=top_mm)


def held_places(
    left_mm: NDArray[np.float64], top_mm: NDArray[np.float64], sensor: Sensor, hold: Hold
) -> tuple[list[float], list[float], list[str]]:
    """Return where many positions on the sensor are seen, as `to_hold` does, and their words.

    Raises
    ------
    GeometryError
        If the sensor's size is unknown.
    """
    width_mm, height_mm = held_size(sensor, hold)
    seen_left_mm, seen_top_mm = _turned(left_mm, top_mm, sensor, hold)
    words = words_of_fractions(seen_left_mm / width_mm, seen_top_mm / height_mm)
    return seen_left_mm.tolist(), seen_top_mm.tolist(), words


def _size(sensor: Sensor) -> tuple[float, float]:
    """Return width and height of the sensor [mm], refusing an unknown one."""
    if sensor.width_mm is None or sensor.height_mm is None:
        raise GeometryError("The size of the sensor is unknown.", repair="Give --sensor.")
    return sensor.width_mm, sensor.height_mm
