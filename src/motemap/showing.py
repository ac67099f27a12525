"""What shows: the one place where it is decided, by the depth at exactly the aperture asked for.

A mark shows when pictures at the photographer's aperture lose `show_depth_frac` of their light to
it or more; with a way of looking at them (`work.view`), when an eye sees it. Where there is no
forecast, the depth in the test shot stands in for it. Marks on the lens side show by the same
rule, but are no dirt on the sensor: whatever is said of the sensor leaves them out.

A frame that has to be shot again has no forecast (`as_seen`): its marks were seen, not judged.
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

    from motemap.records import FrameReport, Spot
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


def told_showing(frame: FrameReport, work: WorkSettings) -> frozenset[int]:
    """Return the ids of a frame's marks of which it is told that they are the sensor's and show.

    That is none in a frame that has to be shot again: its marks were seen, not judged.
    """
    if frame.state != "judged":
        return frozenset()
    return frozenset(spot.id for spot in frame.spots if shows_on_sensor(spot, work))


def is_forecast(spots: Iterable[Spot]) -> bool:
    """Return whether it is known of any mark how deep it is at other apertures."""
    return any(spot.depth_at is not None for spot in spots)


def as_seen(spots: Iterable[Spot]) -> tuple[Spot, ...]:
    """Return the marks of a frame that is not fit to judge from: as they were seen, no forecast.

    What hides other marks, or is no dust at all, may have made these what they look like.
    """
    return tuple(replace(spot, shows_from_f=None, depth_at=None) for spot in spots)


def can_forecast(frame: FrameReport) -> bool:
    """Return whether a frame tells what shows at other apertures than its own.

    Its marks say so themselves. Without any, what its aperture and pixels would have shown is
    known not to be there.
    """
    if frame.state != "judged":
        return False
    if frame.spots:
        return is_forecast(frame.spots)
    pitch_um = None if frame.sensor is None else frame.sensor.pitch_um
    return frame.exposure.f_number is not None and pitch_um is not None


def aperture_words(work: WorkSettings, *, has_forecast: bool) -> str:
    """Return at which aperture it is said of marks whether they show.

    Parameters
    ----------
    work : WorkSettings
        The photographer's aperture.
    has_forecast : bool
        What `can_forecast` says of their frame.
    """
    return write_f(work.shoot_at_f) if has_forecast else "the aperture of this shot"


def condition_words(work: WorkSettings, *, has_forecast: bool) -> str:
    """Return what is true of those marks that show, as a clause after them.

    What an eye sees is known of marks with a forecast only.
    """
    return showing_words(work if has_forecast else replace(work, view=None))


def order_words(spots: Sequence[Spot], work: WorkSettings, *, has_forecast: bool) -> str:
    """Return how marks lie that are `worst_first`, as a clause after them."""
    deepest = f"deepest at {aperture_words(work, has_forecast=has_forecast)} first"
    depths_frac = [depth_of(spot, work.shoot_at_f) for spot in worst_first(spots, work)]
    if all(above >= below for above, below in pairwise(depths_frac)):
        return deepest
    is_lens_shown = any(shows(spot, work) and not is_on_sensor(spot) for spot in spots)
    lens = ", then what shows of the lens" if is_lens_shown else ""
    return f"what shows on the sensor first{lens}, then the rest, of each the {deepest}"


def worst_first(spots: Sequence[Spot], work: WorkSettings) -> list[Spot]:
    """Return marks by how deep they are at the photographer's aperture, deepest first.

    What shows and is the sensor's own comes before what shows and comes from the lens, and both
    before the rest. `order_words` says so.
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
