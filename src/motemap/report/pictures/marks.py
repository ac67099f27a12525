"""Which marks show, which are numbered, and how large each is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from motemap.showing import is_on_sensor, told_showing, worst_first

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport, Spot
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point
    from motemap.settings import WorkSettings

MAGNIFICATIONS = (30.0, 20.0, 15.0, 10.0, 8.0, 5.0, 4.0, 3.0, 2.0, 1.0)
"""How many times their size marks may be drawn: round numbers, so that a legend can say it."""

LARGEST_SHARE = 1 / 7
LARGEST_FIBRE_SHARE = 1 / 5
"""Longest a drawn mark may be, as a share of the plate's shorter side."""

LARGEST_COVER = 0.06
"""Share of the plate that marks may cover, so that a filthy sensor stays readable."""

CURL_FRAC = 0.42
CURL_HEIGHT_FRAC = 0.42
"""A fibre is drawn curled, since its course is unknown: its length over all as a share of the
length along itself, and its height as a share of its length over all."""

SMALLEST_RADIUS_UNITS = 0.42
"""Radius below which no mark is drawn, so that it can be seen at arm's length [units]."""

N_NUMBERED = 12
"""How many of the worst marks get a number."""

N_CROWDED = 40
"""How many marks may show before the ticks round them are drawn short."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A spot ready to be drawn.

    Parameters
    ----------
    radius : float
        Half of its size as drawn [scene units]; for a fibre half its length over all.
    half_height : float
        Half of its height as drawn [scene units].
    half_width : float
        Half of the width of a fibre's line [scene units].
    is_crowded : bool
        Whether so many marks show that what points at them must be small.
    """

    spot: Spot
    at: Point
    radius: float
    half_height: float
    half_width: float
    shows: bool = False
    is_numbered: bool = False
    is_crowded: bool = False


def numbered_ids(spots: Sequence[Spot], work: WorkSettings) -> set[int]:
    """Return the ids of the marks to number: the worst, and lens dust only if nothing else."""
    worst = [spot for spot in worst_first(spots, work) if is_on_sensor(spot)]
    return {spot.id for spot in (worst or spots)[:N_NUMBERED]}


def is_area(spot: Spot) -> bool:
    """Whether a mark is an area drawn at its own size: magnified, its outline would lie."""
    return spot.kind == "smear" or not is_on_sensor(spot)


def across_um(spot: Spot) -> float:
    """Return how wide a mark is drawn: the particle, or its shadow where that is unknown [um]."""
    if is_area(spot) or spot.particle_um is None:
        return spot.width_um or 0.0
    return spot.particle_um


def along_um(spot: Spot) -> float:
    """Return how long a mark is drawn, over all [um]."""
    if spot.kind == "fibre":
        return max((spot.length_um or 0.0) * CURL_FRAC, across_um(spot))
    if is_area(spot):
        return max(spot.length_um or 0.0, across_um(spot))
    return across_um(spot)


def as_grain_um(spot: Spot) -> float:
    """Return the diameter of the round grain that takes as much light, for signs of one shape [um]."""
    across = across_um(spot)
    if spot.kind != "fibre":
        return across
    return math.sqrt(4 / math.pi * across * max(spot.length_um or 0.0, across))


def magnification_for(spots: Sequence[Spot], plate: Plate) -> float:
    """Return how many times their size the marks are drawn, one figure for all of them."""
    sized = [spot for spot in spots if not is_area(spot) and across_um(spot) > 0]
    per_um = plate.per_um
    if per_um is None or not sized:
        return MAGNIFICATIONS[0]
    cover = per_um**2 * sum(along_um(spot) * across_um(spot) for spot in sized)
    short_side = min(plate.width, plate.height)
    largest = min(
        *(short_side * _largest_share(spot) / (per_um * along_um(spot)) for spot in sized),
        math.sqrt(plate.width * plate.height * LARGEST_COVER / cover),
    )
    return next((each for each in MAGNIFICATIONS if each <= largest), MAGNIFICATIONS[-1])


def _largest_share(spot: Spot) -> float:
    return LARGEST_FIBRE_SHARE if spot.kind == "fibre" else LARGEST_SHARE


def marks_for(
    report: FrameReport, plate: Plate, work: WorkSettings, magnification: float | None = None
) -> list[Mark]:
    """Return all marks of a frame, in the order in which they are drawn: the worst on top.

    Parameters
    ----------
    magnification : float, optional
        How many times their size they are drawn; what suits these marks when left out.
    """
    magnification = magnification or magnification_for(report.spots, plate)
    numbered, showing = numbered_ids(report.spots, work), told_showing(report, work)
    is_crowded = len(showing) > N_CROWDED
    marks = [
        replace(
            _mark(spot, plate, magnification),
            shows=spot.id in showing,
            is_numbered=spot.id in numbered,
            is_crowded=is_crowded,
        )
        for spot in worst_first(report.spots, work)
    ]
    return marks[::-1]


def _mark(spot: Spot, plate: Plate, magnification: float) -> Mark:
    scale = (plate.per_um or 0.0) * (1.0 if is_area(spot) else magnification) / 2
    smallest = SMALLEST_RADIUS_UNITS * plate.unit
    half_width = across_um(spot) * scale
    radius = max(along_um(spot) * scale, smallest)
    half_height, at = max(half_width, smallest), plate.point(spot)
    if spot.kind == "fibre":
        # Near an edge the curl is drawn flatter, so that it stays off the ruler's numbers.
        to_edge = min(at[1], plate.height - at[1])
        half_height = min(radius * CURL_HEIGHT_FRAC, max(to_edge, smallest))
    return Mark(
        spot=spot,
        at=at,
        radius=radius,
        half_height=half_height,
        half_width=half_width,
    )
