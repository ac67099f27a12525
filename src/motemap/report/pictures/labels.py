"""Numbers beside the worst marks, placed so that none hides another or a mark that shows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.report.pictures.glyphs import tick_reach
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import CAP_FRAC, Box, Paint, Trace, Words, words_width

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.report.pictures.marks import Mark
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape

DIRECTIONS = 24
DISTANCES_UNITS = (0.4, 1.6, 3.0, 5.0, 8.0, 12.0)
FIRST_DIRECTION = -math.pi / 4
"""Places tried for a number: first close by, to the upper right, then round, then farther."""

COST_OFF_PLATE = 1000.0
COST_ON_FLAG = 300.0
COST_ON_SHOWING = 40.0
COST_ON_REST = 1.0
COST_PER_DISTANCE = 2.0
"""What a place costs for each thing in its way; the cheapest place wins."""

PADDING_FRAC = 0.28
"""Room round a number, as a share of the type size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """The box of a number."""

    mark: Mark
    centre: Point
    half_width: float
    half_height: float

    def hits(self, other: Flag) -> bool:
        """Whether two boxes overlap."""
        aside = abs(self.centre[0] - other.centre[0]) < self.half_width + other.half_width
        below = abs(self.centre[1] - other.centre[1]) < self.half_height + other.half_height
        return aside and below

    def leaves(self, plate: Plate) -> bool:
        """Whether the box sticks out of the plate."""
        right, down = self.centre
        return not (
            self.half_width <= right <= plate.width - self.half_width
            and self.half_height <= down <= plate.height - self.half_height
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """All marks of a plate as circles that a number had better not cover.

    Parameters
    ----------
    at : (n, 2) float64
        Middles [scene units].
    reach : (n,) float64
        How far each is drawn from its middle [scene units].
    price : (n,) float64
        What it costs to cover each.
    """

    at: NDArray[np.float64]
    reach: NDArray[np.float64]
    price: NDArray[np.float64]

    @classmethod
    def of(cls, marks: Sequence[Mark], unit: float) -> _Ground:
        """Look at marks once for all numbers that are laid out."""
        costly = [mark.shows or mark.is_numbered for mark in marks]
        return cls(
            at=np.array([mark.at for mark in marks], np.float64).reshape(-1, 2),
            reach=np.array([mark_reach(mark, unit) for mark in marks], np.float64),
            price=np.where(costly, COST_ON_SHOWING, COST_ON_REST),
        )

    def covered(self, places: Sequence[Flag], own: int) -> NDArray[np.float64]:
        """Return what each place for the number of mark `own` covers, (m,)."""
        centre = np.array([place.centre for place in places])
        half = np.array([places[0].half_width, places[0].half_height])
        low, high = centre.min(axis=0) - half, centre.max(axis=0) + half
        reach = self.reach[:, None]
        near = np.all((self.at > low - reach) & (self.at < high + reach), axis=1)
        near[own] = False
        apart = np.abs(self.at[near] - centre[:, None]) - half
        gap = np.hypot(*np.maximum(apart, 0.0).transpose(2, 0, 1))
        covered: NDArray[np.float64] = (gap < self.reach[near]) @ self.price[near]
        return covered


def place_flags(marks: Sequence[Mark], plate: Plate, type_height: float) -> list[Flag]:
    """Return a place for the number of every numbered mark, the worst mark served first."""
    ground = _Ground.of(marks, plate.unit)
    numbered = [index for index, mark in enumerate(marks) if mark.is_numbered]
    flags: list[Flag] = []
    for own in sorted(numbered, key=lambda index: not marks[index].shows):
        places = tuple(_places(marks[own], plate.unit, type_height))
        costs = ground.covered(places, own)
        costs += [_cost(place, flags, plate) for place in places]
        flags.append(places[int(costs.argmin())])
    return flags


def _places(mark: Mark, unit: float, type_height: float) -> Iterator[Flag]:
    half_height = type_height * (0.5 + PADDING_FRAC)
    text_width = words_width(str(mark.spot.id), type_height)
    half_width = max(text_width / 2 + type_height * PADDING_FRAC, half_height)
    reach = mark_reach(mark, unit)
    for distance in DISTANCES_UNITS:
        for step in range(DIRECTIONS):
            turn = FIRST_DIRECTION + 2 * math.pi * step / DIRECTIONS
            east, south = math.cos(turn), math.sin(turn)
            # The box's own reach in this direction, so that its rim, not its middle, is near.
            own = min(half_width / max(abs(east), 1e-9), half_height / max(abs(south), 1e-9))
            far = reach + distance * unit + own
            centre = (mark.at[0] + east * far, mark.at[1] + south * far)
            yield Flag(mark=mark, centre=centre, half_width=half_width, half_height=half_height)


def mark_reach(mark: Mark, unit: float) -> float:
    """Return how far a drawn mark reaches from its middle [scene units]."""
    return mark.radius + (tick_reach(unit, is_short=mark.is_crowded) if mark.shows else 0.0)


def _cost(flag: Flag, flags: Sequence[Flag], plate: Plate) -> float:
    """Return what a place costs, the marks that it covers left out."""
    cost = COST_OFF_PLATE if flag.leaves(plate) else 0.0
    cost += COST_ON_FLAG * sum(flag.hits(other) for other in flags)
    distance = math.dist(flag.centre, flag.mark.at) - mark_reach(flag.mark, plate.unit)
    return cost + COST_PER_DISTANCE * distance / plate.unit


def flag_shapes(flag: Flag, unit: float, type_height: float) -> tuple[Shape, ...]:
    """Return a number's box, the line from it to its mark, and the number."""
    tone = Tone.SHOWS if flag.mark.shows else Tone.QUIET
    line = Paint(line=tone, line_width=0.16 * unit)
    right, down = flag.centre
    return (
        Trace(points=(_rim(flag, unit), flag.centre), paint=line),
        Box(
            left=right - flag.half_width,
            top=down - flag.half_height,
            width=2 * flag.half_width,
            height=2 * flag.half_height,
            corner=0.35 * type_height,
            paint=Paint(fill=Tone.PAPER, line=tone, line_width=0.16 * unit),
        ),
        Words(
            at=(right, down + CAP_FRAC * type_height),
            text=str(flag.mark.spot.id),
            height=type_height,
            tone=Tone.INK,
            anchor="middle",
            is_bold=flag.mark.shows,
        ),
    )


def _rim(flag: Flag, unit: float) -> Point:
    distance = math.dist(flag.centre, flag.mark.at)
    share = min((flag.mark.radius + 0.3 * unit) / distance, 1.0)
    return (
        flag.mark.at[0] + share * (flag.centre[0] - flag.mark.at[0]),
        flag.mark.at[1] + share * (flag.centre[1] - flag.mark.at[1]),
    )
