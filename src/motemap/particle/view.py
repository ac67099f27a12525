"""The optics of a shot whose aperture, pixels and stack are all known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.records import Stack

NINE_IN_TEN = 1.645
"""Half width, in standard errors, of the range that holds nine in ten of a normal law."""
UM_PER_MM = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What turns a mark in the picture into a particle.

    Parameters
    ----------
    stack : Stack
        Distance of the dust.
    tau_um : float
        The same [um].
    f_number : float
        Marked f-number of the shot.
    pitch_um : float
        Distance of stored pixels [um].
    """

    stack: Stack
    tau_um: float
    f_number: float
    pitch_um: float

    @classmethod
    def of(cls, stack: Stack, f_number: float | None, pitch_um: float | None) -> View | None:
        """Return the view, or None when anything is unknown."""
        if stack.distance_mm is None or f_number is None or pitch_um is None:
            return None
        tau_um = stack.distance_mm * UM_PER_MM
        return cls(stack=stack, tau_um=tau_um, f_number=f_number, pitch_um=pitch_um)

    @property
    def blur_um(self) -> float:
        """Diameter of the blur disc [um]."""
        return self.tau_um / self.f_number


WIDEST_SPREAD = 1.5
"""Beyond this nothing is known of a size, and a larger factor says no more."""


def size_range(size_um: float, spread: float) -> tuple[float, float]:
    """Return where nine in ten sizes lie, for a standard error of the logarithm [um]."""
    factor = math.exp(NINE_IN_TEN * min(spread, WIDEST_SPREAD))
    return size_um / factor, size_um * factor


def diameter_um(area_um2: float) -> float:
    """Return the diameter of the disc of an area [um]; 0 where light was gained, not lost."""
    return math.sqrt(4 * max(area_um2, 0.0) / math.pi)


def disc_um2(diameter: float) -> float:
    """Return the area of a disc of a diameter [um2]."""
    return math.pi * diameter**2 / 4
