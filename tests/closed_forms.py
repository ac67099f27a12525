"""Closed forms that the shadow's waves are held against.

Lengths in um unless the name says otherwise. `tau_um` is the air-equivalent distance from the
dust to the photosites, ``sum(thickness / index)``. Derived from first principles.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.overlap import disc_overlap_area, strip_share

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray


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


def tiny_speck_factor(tau_um: float, f_number: float, wavelength_um: float) -> float:
    """Return how many times deeper than by rays a tiny speck's shadow is on its axis.

    ``2 (1 - cos(pi N_B))`` with ``N_B = tau / (4 lambda N^2)``: exact for one wavelength
    and a speck far smaller than its blur disc and than ``sqrt(lambda tau)``.
    """
    fresnel_of_blur = tau_um / (4 * wavelength_um * f_number**2)
    return 2 * (1 - math.cos(math.pi * fresnel_of_blur))
