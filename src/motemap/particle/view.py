"""The optics of a shot whose aperture, pixels and stack are all known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.table import wave_length_um
from motemap.optics.waves import Waves, shadows

if TYPE_CHECKING:
    from motemap.optics.waves import Shadows
    from motemap.records import Stack

NINE_IN_TEN = 1.645
"""Half width, in standard errors, of the range that holds nine in ten of a normal law."""
LARGEST_SIZE = 14.0
"""Largest diameter tried, in units of sqrt(lambda0 tau); a larger one has sharp edges."""
MODEL_AREA_ERROR = 0.04
"""Error of the light lost that the model itself brings, as a share of it."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrameOptics:
    """Shadows as the cells of one frame show them.

    Parameters
    ----------
    shadows : Shadows
        Of all sizes.
    models : Waves
        Of the sizes worth trying.
    blur_um : float
        Diameter of the blur disc [um].
    cell_um : float
        Side of a cell [um].
    tau_um : float
        Air-equivalent distance of the dust [um].
    f_number : float
        Marked f-number of the shot.
    pitch_um : float
        Distance of stored pixels [um].
    """

    shadows: Shadows
    models: Waves
    blur_um: float
    cell_um: float
    tau_um: float
    f_number: float
    pitch_um: float

    @classmethod
    def of(cls, tau_um: float, f_number: float, pitch_um: float, bin_px: int) -> FrameOptics:
        """Reckon the shadows of one frame."""
        cell_um = pitch_um * bin_px
        seen = shadows(tau_um, f_number, cell_um)
        n_sizes = int(np.searchsorted(seen.size_um, LARGEST_SIZE * wave_length_um(tau_um)))
        return cls(
            shadows=seen,
            models=Waves(
                cross=np.ascontiguousarray(seen.waves.cross[:, :n_sizes]),
                power=np.ascontiguousarray(seen.waves.power[:, :n_sizes]),
            ),
            blur_um=tau_um / f_number,
            cell_um=cell_um,
            tau_um=tau_um,
            f_number=f_number,
            pitch_um=pitch_um,
        )


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
