"""The positions of a report as a person sees them who holds the body some other way."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from motemap.coords import SensorPoint
from motemap.place import find_hold, held_place, to_hold

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.place import Hold
    from motemap.records import FrameReport, Sensor, Spot


def as_held(frames: Iterable[FrameReport], name: str) -> tuple[tuple[FrameReport, ...], str]:
    """Turn the positions of frames to a way of holding the body; for reports to people only.

    Parameters
    ----------
    name : str
        As in `motemap.place.HOLDS`.

    Returns
    -------
    frames : tuple of FrameReport
        Copies with the positions turned. Marks that have no place keep none.
    meaning : str
        How the body is held, for people.

    Raises
    ------
    SettingsError
        If there is no such way of holding it.
    """
    hold = find_hold(name)
    return tuple(_turned(frame, hold) for frame in frames), hold.meaning


def _turned(frame: FrameReport, hold: Hold) -> FrameReport:
    sensor = frame.sensor
    if sensor is None or sensor.width_mm is None or sensor.height_mm is None:
        return frame
    return replace(frame, spots=tuple(_turned_spot(spot, sensor, hold) for spot in frame.spots))


def _turned_spot(spot: Spot, sensor: Sensor, hold: Hold) -> Spot:
    if spot.from_left_mm is None or spot.from_top_mm is None:
        return spot
    point = SensorPoint(from_left_mm=spot.from_left_mm, from_top_mm=spot.from_top_mm)
    seen = to_hold(point, sensor, hold)
    return replace(
        spot,
        from_left_mm=seen.from_left_mm,
        from_top_mm=seen.from_top_mm,
        place=held_place(point, sensor, hold),
    )
