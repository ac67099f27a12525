"""What a picture is made of: a few plain shapes on a sheet, free of any file format.

Every position is a pair ``(right, down)`` in scene units: micrometres on the sensor, seen as
the body is held, with the origin in the upper left corner of the imaging area. A picture that
cannot be placed on the sensor uses picture pixels instead. The sheet may reach to the left of
and above the origin, so its corner has a position of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from motemap.report.pictures.palette import Tone

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

GLYPH_WIDTH_FRAC = 0.61
"""Mean width of a letter over the type size, on the wide side of common sans-serif faces."""

CAP_FRAC = 0.36
"""Height of the middle of a letter over its base line, as a share of the type size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paint:
    """How a shape is filled and outlined; `dash` holds drawn and left-out lengths."""

    fill: Tone | None = None
    line: Tone | None = None
    line_width: float = 0.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A round mark."""

    centre: Point
    radius: float
    paint: Paint


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """An upright rectangle, its corners rounded by `corner`."""

    left: float
    top: float
    width: float
    height: float
    paint: Paint
    corner: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A line through points, closed to a polygon when `is_closed`."""

    points: tuple[Point, ...]
    paint: Paint
    is_closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text; `at` is on the base line."""

    at: Point
    text: str
    height: float
    tone: Tone
    anchor: Anchor = "start"
    is_bold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """Shapes that belong together.

    Parameters
    ----------
    title : str
        What the cluster is, for tooltips and screen readers.
    name : str or None
        Identifier, unique on the sheet.
    link : str or None
        Identifier of the place in the page that tells more.
    is_stop : bool
        Whether the tab key stops at the link.
    """

    shapes: tuple[Shape, ...]
    title: str = ""
    name: str | None = None
    link: str | None = None
    is_stop: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """A square grey picture; `grey` is (N, N) uint8."""

    left: float
    top: float
    side: float
    grey: NDArray[np.uint8]


Shape = Circle | Box | Trace | Words | Cluster | Photo


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A whole picture.

    Parameters
    ----------
    left, top : float
        Position of the upper left corner [scene units].
    title, summary : str
        What the picture is, and what it says, for those who cannot see it.
    print_width_mm : float
        Width at which a printer should put it on paper [mm].
    """

    left: float
    top: float
    width: float
    height: float
    title: str
    summary: str
    shapes: tuple[Shape, ...] = field(default=())
    print_width_mm: float = 270.0


def words_width(text: str, height: float) -> float:
    """Return about how wide a line of text gets, rather too wide than too narrow."""
    return len(text) * height * GLYPH_WIDTH_FRAC
