"""The optics of a shot whose aperture, pixels and stack are all known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.table import wave_length_um
from motemap.optics.waves import Waves, shadows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.optics.waves import Shadows
    from motemap.records import Stack

Length = TypeVar("Length", float, "NDArray[np.float64]")

NINE_IN_TEN = 1.645
"""Half width, in standard errors, of the range that holds nine in ten of a normal law."""
LARGEST_SIZE = 14.0
"""Largest diameter tried, in units of sqrt(lambda0 tau); a larger one has sharp edges."""
MODEL_AREA_ERROR = 0.04
"""Error of the light lost that the model itself brings, as a share of it."""
WINDOW_OF_WIDTH = 1.5
"""Distance from the middle, or from the axis, in widths, out to which light lost was first summed."""
FAINTEST = 0.01
"""Least opacity reckoned with."""
WIDEST_SPREAD = 1.5
"""Beyond this nothing is known of a size, and a larger factor says no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotOptics:
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
    def of(cls, stack: Stack, f_number: float | None, pitch_um: float | None) -> ShotOptics | None:
        """Return the optics, or None when anything is unknown."""
        if stack.distance_mm is None or f_number is None or pitch_um is None:
            return None
        tau_um = stack.distance_mm * UM_PER_MM
        return cls(stack=stack, tau_um=tau_um, f_number=f_number, pitch_um=pitch_um)


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
    is_cooked : bool
        Whether a program made the picture of the photosites' light, so that its shadows are no
        longer just what optics makes them.
    """

    shadows: Shadows
    models: Waves
    blur_um: float
    cell_um: float
    tau_um: float
    f_number: float
    pitch_um: float
    is_cooked: bool = False

    @classmethod
    def of(
        cls,
        tau_um: float,
        f_number: float,
        pitch_um: float,
        bin_px: int,
        *,
        is_cooked: bool = False,
    ) -> FrameOptics:
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
            is_cooked=is_cooked,
        )


def size_ranges(
    size_um: NDArray[np.float64], spread: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where nine in ten sizes lie, for standard errors of the logarithm [um]."""
    factor = np.exp(NINE_IN_TEN * np.minimum(spread, WIDEST_SPREAD))
    return size_um / factor, size_um * factor


def diameters_um(area_um2: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the diameters of the discs of areas [um]; 0 where light was gained, not lost."""
    return np.sqrt(4 * np.maximum(area_um2, 0.0) / math.pi)


def own_curves(
    asked: NDArray[np.float64], rising: NDArray[np.float64], values: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Look up n values, each on a curve of its own.

    Parameters
    ----------
    asked : (n,) float64
        Where to look.
    rising : (n, m) float64
        The curves' places, which rise along each row.
    values : (m,) float64
        What all curves have at those places.
    """
    looked_up = [np.interp(one, row, values) for one, row in zip(asked, rising, strict=True)]
    return np.array(looked_up, np.float64)


def disc_um2(diameter: Length) -> Length:
    """Return the area of a disc of a diameter, or of several [um2]."""
    return math.pi * diameter**2 / 4
