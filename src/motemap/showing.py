"""What shows: the one place where it is decided, by the depth at exactly the aperture asked for.

A mark shows when pictures at the photographer's aperture lose `show_depth_frac` of their light to
it or more; with a way of looking at them (`work.view`), when an eye sees it. Where there is no
forecast, the depth in the test shot stands in for it. Marks on the lens side show by the same
rule, but are no dirt on the sensor: whatever is said of the sensor leaves them out.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, TypeVar

from motemap.facts.showing import showing_words
from motemap.facts.stops import write_f
from motemap.optics.apertures import stop_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from motemap.records import Spot
    from motemap.settings import WorkSettings

    Depths = TypeVar("Depths", float, NDArray[np.float64])
    Logs = tuple[float, float]


def is_seen(
    depth_frac: Depths, seen_from_f: Depths, f_number: float, work: WorkSettings
) -> bool | NDArray[np.bool_]:
    """Say of one mark, or of columns of them, whether it shows at an aperture.

    Parameters
    ----------
    depth_frac : float or float64 array
        Depth at that aperture (0-1); NaN, which never shows, where it is unknown.
    seen_from_f : float or float64 array
        Widest aperture at which an eye sees it, the one in question among those tried; NaN for
        none. Counts only with a way of looking at the picture.
    f_number : float
        The aperture.
    """
    return depth_frac >= work.show_depth_frac if work.view is None else seen_from_f <= f_number


def shows(spot: Spot, work: WorkSettings) -> bool:
    """Return whether a mark shows at the photographer's aperture, wherever it lies."""
    if spot.depth_at is None:
        return spot.depth_frac >= work.show_depth_frac
    seen_from_f = math.nan if spot.shows_from_f is None else spot.shows_from_f
    return bool(is_seen(depth_of(spot, work.shoot_at_f), seen_from_f, work.shoot_at_f, work))


def is_on_sensor(spot: Spot) -> bool:
    """Return whether a mark is the sensor's own; what comes from the lens goes with the lens."""
    return spot.layer != "lens side"


def shows_on_sensor(spot: Spot, work: WorkSettings) -> bool:
    """Return whether a mark is the sensor's own and shows at the photographer's aperture."""
    return is_on_sensor(spot) and shows(spot, work)


def is_forecast(spots: Iterable[Spot]) -> bool:
    """Return whether it is known of any mark how deep it is at other apertures."""
    return any(spot.depth_at is not None for spot in spots)


def aperture_words(spots: Sequence[Spot], work: WorkSettings) -> str:
    """Return at which aperture it is said of marks whether they show."""
    is_known = not spots or is_forecast(spots)
    return write_f(work.shoot_at_f) if is_known else "the aperture of this shot"


def condition_words(spots: Sequence[Spot], work: WorkSettings) -> str:
    """Return what is true of those marks that show, as a clause after them.

    What an eye sees is known of marks with a forecast only.
    """
    is_known = not spots or is_forecast(spots)
    return showing_words(work if is_known else replace(work, view=None))


def worst_first(spots: Sequence[Spot], work: WorkSettings) -> list[Spot]:
    """Return marks by how deep they are at the photographer's aperture, deepest first.

    What shows and is the sensor's own comes before what shows and comes from the lens, and both
    before the rest.
    """

    def badness(spot: Spot) -> tuple[bool, bool, float, int]:
        is_showing = shows(spot, work)
        is_own = is_showing and is_on_sensor(spot)
        return not is_own, not is_showing, -depth_of(spot, work.shoot_at_f), spot.id

    return sorted(spots, key=badness)


def depth_of(spot: Spot, f_number: float) -> float:
    """Return how deep a mark is at an aperture (0-1); in the test shot without a forecast.

    Notes
    -----
    A report holds the depth at exactly the aperture it was asked for. At another one, as the
    record of a body may be asked for later, it is read off between those that are there, by the
    slope of the logarithms.
    """
    if spot.depth_at is None:
        return spot.depth_frac
    depth_frac = spot.depth_at.get(stop_name(f_number))
    return _read_off(spot.depth_at, f_number) if depth_frac is None else depth_frac


def _read_off(depth_at: Mapping[str, float | None], f_number: float) -> float:
    """Return the depth at an aperture between, or beyond, those that it is known at (0-1)."""
    known = sorted(
        (math.log(float(stop)), math.log(depth))
        for stop, depth in depth_at.items()
        if depth is not None and depth > 0
    )
    if not known:
        return 0.0
    wanted = math.log(f_number)
    lines = list(pairwise(known)) or [(known[0], known[0])]
    line = next((each for each in lines if wanted <= each[1][0]), lines[-1])
    return min(math.exp(_on_line(line, wanted)), 1.0)


def _on_line(line: tuple[Logs, Logs], wanted: float) -> float:
    (left, start), (right, end) = line
    return start if left == right else start + (end - start) * (wanted - left) / (right - left)
