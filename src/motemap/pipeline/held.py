"""The positions of a report as a person sees them who holds the body some other way."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.place import find_hold, held_places
from motemap.verdict import said_again

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.place import Hold
    from motemap.records import FrameReport, Spot


def as_held(frames: Iterable[FrameReport], name: str) -> tuple[tuple[FrameReport, ...], str]:
    """Turn the positions of frames to a way of holding the body, those in sentences, too.

    For reports to people only.

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


def said_as_held(frames: Iterable[FrameReport], name: str) -> tuple[FrameReport, ...]:
    """Turn the places in the sentences of frames alone: for pictures, which turn spots by themselves.

    Parameters
    ----------
    name : str
        As in `motemap.place.HOLDS`.
    """
    hold = find_hold(name)
    return tuple(replace(frame, verdict=_turned(frame, hold).verdict) for frame in frames)


def _turned(frame: FrameReport, hold: Hold) -> FrameReport:
    """Turn the positions of one frame; as it is where its sensor's size is unknown."""
    sensor = frame.sensor
    if sensor is None or sensor.width_mm is None or sensor.height_mm is None:
        return frame
    left_mm, top_mm, words = held_places(
        np.array([spot.from_left_mm for spot in frame.spots], np.float64),
        np.array([spot.from_top_mm for spot in frame.spots], np.float64),
        sensor,
        hold,
    )
    spots = tuple(map(_turned_spot, frame.spots, left_mm, top_mm, words))
    verdict = None if frame.verdict is None else said_again(frame.verdict, spots)
    return replace(frame, spots=spots, verdict=verdict)


def _turned_spot(spot: Spot, left_mm: float, top_mm: float, place: str) -> Spot:
    before = spot.from_left_mm, spot.from_top_mm, spot.place
    if None in before or before == (left_mm, top_mm, place):
        return spot
    return replace(spot, from_left_mm=left_mm, from_top_mm=top_mm, place=place)
