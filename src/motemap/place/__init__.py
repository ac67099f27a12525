"""Where a mark lies on the sensor: the only place where picture and sensor meet.

See ``docs/reference/coordinates.md`` for the frames and the reasons behind them.
"""

from motemap.place.frame import to_frame, to_sensor, why_unplaced
from motemap.place.hold import (
    HOLDS,
    HeldPoint,
    Hold,
    find_hold,
    from_hold,
    held_places,
    held_size,
    to_hold,
)
from motemap.place.spots import Placed, place
from motemap.place.view import from_view, to_view, view_size
from motemap.place.words import words_of_fractions

__all__ = [
    "HOLDS",
    "HeldPoint",
    "Hold",
    "Placed",
    "find_hold",
    "from_hold",
    "from_view",
    "held_places",
    "held_size",
    "place",
    "to_frame",
    "to_hold",
    "to_sensor",
    "to_view",
    "view_size",
    "why_unplaced",
    "words_of_fractions",
]
