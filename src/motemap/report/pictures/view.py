"""How the body is held, as far as a picture cares: which way the sensor lies in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from motemap.report.pictures.scene import Point

QUARTERS = 4
"""Quarter turns in a full turn."""


class Hold(Protocol):
    """What the drawing needs to know of a way of holding the body, from wherever it comes."""

    @property
    def meaning(self) -> str:
        """How the body is held, for people."""
        ...

    @property
    def quarter_turns(self) -> int:
        """Clockwise quarter turns of the view of the sensor (0-3)."""
        ...

    @property
    def is_mirrored(self) -> bool:
        """Whether left and right change places before the turn."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A way of looking at the sensor, told as steps away from the usual one.

    The usual one is looking into the mount with the camera upright, as all positions in a
    report are. A view from behind swaps left and right first; then the picture is turned.

    Parameters
    ----------
    meaning : str
        How the body is held, for people.
    quarter_turns : int
        Clockwise quarter turns of the picture (0-3).
    is_mirrored : bool
        Whether the body is seen from behind, the side of its screen.
    """

    meaning: str
    quarter_turns: int = 0
    is_mirrored: bool = False

    @property
    def swaps_sides(self) -> bool:
        """Whether width and height change places."""
        return self.quarter_turns % 2 == 1

    @property
    def words(self) -> str:
        """How the body is held, as the beginning of a sentence."""
        return self.meaning[:1].upper() + self.meaning[1:]

    def size(self, width: float, height: float) -> tuple[float, float]:
        """Return width and height as seen, in any unit."""
        return (height, width) if self.swaps_sides else (width, height)

    def point(self, upright: Point, width: float, height: float) -> Point:
        """Return where a point of the upright view lies, in any unit.

        Parameters
        ----------
        upright : (float, float)
            From the left and from the top, looking into the mount of an upright camera.
        width, height : float
            Size of the area in that view.

        Examples
        --------
        >>> View(meaning="upside down", quarter_turns=2).point((6.0, 21.0), 36.0, 24.0)
        (30.0, 3.0)
        """
        right, down = upright
        if self.is_mirrored:
            right = width - right
        for _ in range(self.quarter_turns % QUARTERS):
            right, down = height - down, right
            width, height = height, width
        return right, down


FACING = View(meaning="facing you, looking into the mount, top plate up")
"""The view of all positions in a report."""


def view_of(hold: Hold) -> View:
    """Return the view that goes with a way of holding the body."""
    return View(
        meaning=hold.meaning,
        quarter_turns=hold.quarter_turns,
        is_mirrored=hold.is_mirrored,
    )
