"""The ray model of the shadow: a disc blurred by a disc, and other closed forms.

Lengths in um unless the name says otherwise. `tau_um` is the air-equivalent distance from
the dust to the photosites, ``sum(thickness / index)``. All formulas are derived from first
principles; see ``docs/explanation/shadow.md``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

AIRY_FIRST_ZERO = 2.44
"""Diameter of the first dark ring of the Airy pattern in units of wavelength x f-number."""


def stack_tau_um(layers: Iterable[tuple[float, float]]) -> float:
    """Return the air-equivalent distance of a stack of layers.

    Parameters
    ----------
    layers : iterable of (thickness_um, index)
        Air gaps have index 1.

    Returns
    -------
    float
        ``sum(thickness / index)`` [um].

    Examples
    --------
    >>> round(stack_tau_um([(500, 1.52), (1200, 1.54), (600, 1.0), (700, 1.52)]), 1)
    2168.7
    """
    return sum(thickness_um / index for thickness_um, index in layers)


def blur_um(tau_um: float, f_number: float) -> float:
    """Return the diameter of the blur disc ``tau / N``, paraxial [um].

    >>> round(blur_um(2000 / 1.5, 22), 2)
    60.61
    """
    return tau_um / f_number


def exact_blur_um(layers: Iterable[tuple[float, float]], f_number: float) -> float:
    """Return the diameter of the blur disc with exact refraction [um].

    ``sum 2 t / sqrt(4 N^2 n^2 - 1)`` over the layers, dust on the outer face.

    >>> round(exact_blur_um([(2000, 1.5)], 1.4), 2)
    980.58
    """
    return sum(
        2 * thickness_um / math.sqrt(4 * (f_number * index) ** 2 - 1)
        for thickness_um, index in layers
    )


def disc_overlap_area(
    distance: ArrayLike, first_radius: ArrayLike, second_radius: ArrayLike
) -> NDArray[np.float64]:
    """Return the area common to two discs.

    Parameters
    ----------
    distance : array_like
        Distance of the centres, not negative; the three arguments broadcast.
    first_radius, second_radius : array_like
        Radii, greater than or equal to 0, in the unit of `distance`.

    Returns
    -------
    ndarray of float64
        Common area, squared unit of `distance`.
    """
    apart, one, two = (
        np.asarray(part, dtype=np.float64) for part in (distance, first_radius, second_radius)
    )
    # What depends on the radii alone is not reckoned anew for every distance.
    near, far = np.abs(one - two), one + two
    common = np.where(apart <= near, np.pi * np.minimum(one, two) ** 2, 0.0)
    # Only where the rims cross does the closed form hold: as a rule at few of many places.
    crossing = (apart > near) & (apart < far)
    common[crossing] = _lens_area(
        *(
            part if part.ndim == 0 else np.broadcast_to(part, common.shape)[crossing]
            for part in (apart, one, two)
        )
    )
    return common


def _lens_area(
    apart: NDArray[np.float64], one: NDArray[np.float64], two: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the area common to two discs whose rims cross."""
    apart2, one2, two2 = apart**2, one**2, two**2
    # Twice the sides of the triangle of both centres and a crossing, multiplied with their cosine.
    beside_one, sides_one = apart2 + (one2 - two2), 2 * apart * one
    beside_two, sides_two = apart2 - (one2 - two2), 2 * apart * two
    angle_one = np.arccos(np.clip(beside_one / sides_one, -1, 1))
    angle_two = np.arccos(np.clip(beside_two / sides_two, -1, 1))
    kite = np.maximum((sides_one - beside_one) * (sides_one + beside_one), 0)
    area: NDArray[np.float64] = one2 * angle_one + two2 * angle_two - 0.5 * np.sqrt(kite)
    return area


def speck_loss_frac(
    radius_um: ArrayLike, particle_um: float, blur_diameter_um: float
) -> NDArray[np.float64]:
    """Return the share of light lost at a distance from the centre of an opaque speck's shadow.

    Parameters
    ----------
    radius_um : array_like
        Distance from the centre of the shadow [um].
    particle_um, blur_diameter_um : float
        Diameters of the round speck and of the blur disc [um].

    Returns
    -------
    ndarray of float64
        Loss (0-1).

    Examples
    --------
    >>> speck_loss_frac([0.0, 25.0, 41.0], 20.0, 60.606).round(5).tolist()
    [0.1089, 0.08672, 0.0]
    """
    common = disc_overlap_area(radius_um, particle_um / 2, blur_diameter_um / 2)
    return common / (np.pi * (blur_diameter_um / 2) ** 2)


def speck_depth_frac(particle_um: float, blur_diameter_um: float) -> float:
    """Return the loss in the centre of an opaque speck's shadow, ``min(1, (d / B)^2)`` (0-1)."""
    return min(1.0, (particle_um / blur_diameter_um) ** 2)


def strip_share(offset: ArrayLike) -> NDArray[np.float64]:
    """Return the share of a unit-radius disc's area that lies left of a vertical chord.

    Parameters
    ----------
    offset : array_like
        Position of the chord in units of the radius; -1 gives 0, 1 gives 1.
    """
    place = np.clip(np.asarray(offset, dtype=np.float64), -1, 1)
    return 0.5 + (np.arcsin(place) + place * np.sqrt(1 - place**2)) / np.pi


def strip_loss_frac(
    offset_um: ArrayLike, width_um: float, blur_diameter_um: float
) -> NDArray[np.float64]:
    """Return the share of light lost beside the axis of a long straight opaque fibre (0-1).

    Parameters
    ----------
    offset_um : array_like
        Distance from the axis of the shadow [um].
    width_um, blur_diameter_um : float
        Width of the fibre and diameter of the blur disc [um].
    """
    place = np.asarray(offset_um, dtype=np.float64)
    radius_um = blur_diameter_um / 2
    return strip_share((place + width_um / 2) / radius_um) - strip_share(
        (place - width_um / 2) / radius_um
    )


def visible_speck_f_number(
    particle_um: float, tau_um: float, depth_frac: float, opacity_frac: float = 1.0
) -> float:
    """Return the f-number from which on a speck reaches a depth, by rays.

    ``tau sqrt(C) / (d sqrt(alpha))``, for a speck narrower than its blur disc.
    """
    return tau_um * math.sqrt(depth_frac / opacity_frac) / particle_um


def visible_fibre_f_number(width_um: float, tau_um: float, depth_frac: float) -> float:
    """Return the f-number from which on a thin fibre reaches a depth, ``pi tau C / (4 w)``."""
    return math.pi * tau_um * depth_frac / (4 * width_um)


def airy_um(wavelength_um: float, f_number: float) -> float:
    """Return the diameter of the Airy disc to its first zero [um]."""
    return AIRY_FIRST_ZERO * wavelength_um * f_number


def fresnel_number(particle_um: float, tau_um: float, wavelength_um: float) -> float:
    """Return ``(d / 2)^2 / (lambda tau)``; well above 3 rays are right, below they are not."""
    return (particle_um / 2) ** 2 / (wavelength_um * tau_um)


def tiny_speck_factor(tau_um: float, f_number: float, wavelength_um: float) -> float:
    """Return how many times deeper than by rays a tiny speck's shadow is on its axis.

    ``2 (1 - cos(pi N_B))`` with ``N_B = tau / (4 lambda N^2)``: exact for one wavelength
    and a speck far smaller than its blur disc and than ``sqrt(lambda tau)``.
    """
    fresnel_of_blur = tau_um / (4 * wavelength_um * f_number**2)
    return 2 * (1 - math.cos(math.pi * fresnel_of_blur))


def shift_um(from_centre_um: float, tau_um: float, pupil_mm: float) -> float:
    """Return how far outward the shadow falls of dust at a distance from the centre [um].

    ``tau r / E``, paraxial, with `pupil_mm` the air-equivalent distance of the exit pupil.
    """
    um_per_mm = 1000.0
    return tau_um * from_centre_um / (pupil_mm * um_per_mm)


def lens_change_scale(tau_um: float, first_pupil_mm: float, second_pupil_mm: float) -> float:
    """Return the radial scale of a speck pattern from one lens to another.

    ``(1 - tau / E1) / (1 - tau / E2)``: radii in the second picture over those in the first.
    """
    um_per_mm = 1000.0
    first = 1 - tau_um / (first_pupil_mm * um_per_mm)
    second = 1 - tau_um / (second_pupil_mm * um_per_mm)
    return first / second
