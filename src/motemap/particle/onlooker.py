"""Which marks an eye sees in the finished picture, by how wide and how deep each is there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.apertures import THIRD_STOPS
from motemap.optics.depths import depth_curve
from motemap.optics.vision import visible_depth
from motemap.optics.widths import half_widths_um
from motemap.particle.forecast import apertures_with, first_stops

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import ArrayLike, NDArray

    from motemap.optics.vision import Viewing
    from motemap.particle.forecast import CastShadows
    from motemap.particle.record import Particles
    from motemap.records import Stack

FULL_STOPS = THIRD_STOPS[::3]
"""Apertures at which widths are reckoned; they change so evenly that the thirds follow."""

NARROWEST_PX, WIDEST_PX, N_WIDTHS = 0.1, 20_000.0, 160
"""Widths in the picture for which it is reckoned what an eye sees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Onlooker:
    """An eye before the finished picture.

    Parameters
    ----------
    viewing : Viewing
        How the picture is looked at.
    picture_px : float
        Long side of the whole picture [px].
    """

    viewing: Viewing
    picture_px: float

    def least_depth(self, width_px: ArrayLike) -> NDArray[np.float64]:
        """Return the depth from which on marks of some widths are seen (0-1)."""
        widths, depths = _least_depths(self)
        return np.exp(np.interp(np.log(np.asarray(width_px, np.float64)), widths, depths))


@lru_cache(maxsize=8)
def _least_depths(onlooker: Onlooker) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the logarithms of widths and of the depths from which on an eye sees them."""
    widths_px = np.geomspace(NARROWEST_PX, WIDEST_PX, N_WIDTHS)
    depths = [visible_depth(width, onlooker.picture_px, onlooker.viewing) for width in widths_px]
    return np.log(widths_px), np.log(depths)


def seen_by(onlooker: Onlooker, particles: Particles, asked: Iterable[float] = ()) -> Particles:
    """Say of each mark from which aperture on the eye sees it.

    Parameters
    ----------
    asked : iterable of float
        Apertures to be tried besides the thirds of a stop.

    Returns
    -------
    Particles
        With `shows_from_f` set anew; without a forecast as they are.
    """
    if particles.shadows is None:
        return particles
    return replace(particles, shows_from_f=seen_from(onlooker, particles.shadows, asked))


def seen_from(
    onlooker: Onlooker, shadows: CastShadows, asked: Iterable[float]
) -> NDArray[np.float64]:
    """Return the widest aperture at which the eye sees each of n marks; NaN where it never does.

    A fibre is judged by its width: that it is long makes it, if anything, easier to see.

    Parameters
    ----------
    asked : iterable of float
        Apertures to be tried besides the thirds of a stop.
    """
    f_numbers = apertures_with(asked)
    least_frac = onlooker.least_depth(_widths_px(shadows, f_numbers))
    return first_stops(shadows.depths_frac(f_numbers) >= least_frac, f_numbers)


def smallest_seen(
    onlooker: Onlooker, *, stack: Stack, f_number: float, pitch_um: float
) -> float | None:
    """Return the smallest opaque speck that the eye sees at an aperture [um].

    Returns
    -------
    float or None
        None when it sees none or the distance is unknown.
    """
    if stack.distance_mm is None:
        return None
    tau_um = stack.distance_mm * UM_PER_MM
    curve = depth_curve(tau_um, f_number, pitch_um)
    size_um, depths = curve.size_um, curve.depth(curve.size_um)
    least = onlooker.least_depth(half_widths_um(size_um, tau_um, f_number, pitch_um) / pitch_um)
    seen = np.flatnonzero(depths >= least)
    if not seen.size:
        return None
    node = int(seen[0])
    if node == 0:
        return float(size_um[0] * np.sqrt(least[0] / depths[0]))
    excess = np.log(depths[node - 1 : node + 1] / least[node - 1 : node + 1])
    share = float(-excess[0] / (excess[1] - excess[0]))
    return float(size_um[node - 1] * (size_um[node] / size_um[node - 1]) ** share)


def _widths_px(shadows: CastShadows, f_numbers: Sequence[float]) -> NDArray[np.float64]:
    """Return full widths at half depth at some apertures, (apertures, n) [px]."""
    beyond = (f for f in f_numbers if not FULL_STOPS[0] <= f <= FULL_STOPS[-1])
    reckoned = sorted({*FULL_STOPS, *beyond})
    nodes, wanted = np.log(reckoned), np.log(f_numbers)
    between = np.array([np.interp(wanted, nodes, one) for one in np.eye(nodes.size)]).T
    pitch_um = shadows.pitch_um
    widths_px = np.empty((len(f_numbers), shadows.size_um.size))
    for tau_um, shape, members in shadows.alike():
        size_um = shadows.size_um[members]
        widths_um = [half_widths_um(size_um, tau_um, f, pitch_um, shape) for f in reckoned]
        widths_px[:, members] = np.exp(between @ np.log(widths_um)) / pitch_um
    return widths_px
