"""Geometry of the blurred shadow: a blur disc, and what a disc and a strip share with it.

Derived from first principles; see ``docs/explanation/shadow.md``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def blur_um(tau_um: float, f_number: float) -> float:
    """Return the diameter of the blur disc ``tau / N``, paraxial [um].

    >>> round(blur_um(2000 / 1.5, 22), 2)
    60.61
    """
    return tau_um / f_number


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


def strip_share(offset: ArrayLike) -> NDArray[np.float64]:
    """Return the share of a unit-radius disc's area that lies left of a vertical chord.

    Parameters
    ----------
    offset : array_like
        Position of the chord in units of the radius; -1 gives 0, 1 gives 1.
    """
    place = np.clip(np.asarray(offset, dtype=np.float64), -1, 1)
    return 0.5 + (np.arcsin(place) + place * np.sqrt(1 - place**2)) / np.pi
