"""The shipped table of coherent shadows, and the laying of discs over its curves."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.overlap import disc_overlap_area, strip_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

TABLE_NAME = "shadow_table.npz"
WAVELENGTH_UM = 0.545
"""Reference wavelength: the middle of the spectrum the table was built with [um]."""
SIZE_STEP = 24
"""Sizes are asked for in steps of so many, so that frames share what was reckoned."""
CELL_TO_DISC = 2 / math.sqrt(3)
"""Diameter of the disc with the same spread as a square cell, in sides of the cell."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShadowTable:
    """Waves round specks and strips lit by one point of the pupil, in white light.

    Lengths in units of ``sqrt(lambda0 * tau)``. With ``U`` the wave that would pass a hole of
    the mark's shape, a mark that takes the share `s` of the *amplitude* takes the share
    ``s * 2 Re U - s^2 * |U|^2`` of the light.

    Parameters
    ----------
    nodes : (n,) float64
        Diameters of specks, widths of strips.
    edges : (m + 1,) float64
        Borders of the cells of radius (specks) or of distance from the axis (strips).
    speck_cross, strip_cross : (n, m) float64
        ``2 Re U`` averaged over each cell.
    speck_power, strip_power : (n, m) float64
        ``|U|^2`` averaged over each cell.
    """

    nodes: NDArray[np.float64]
    edges: NDArray[np.float64]
    speck_cross: NDArray[np.float64]
    speck_power: NDArray[np.float64]
    strip_cross: NDArray[np.float64]
    strip_power: NDArray[np.float64]


@lru_cache(maxsize=1)
def shadow_table() -> ShadowTable:
    """Return the table that ships with the package, read once."""
    with (
        files("motemap.optics").joinpath(TABLE_NAME).open("rb") as stream,
        np.load(stream, allow_pickle=False) as stored,
    ):
        arrays = {name: stored[name].astype(np.float64) for name in stored.files}
    for values in arrays.values():
        values.setflags(write=False)
    return ShadowTable(**arrays)


def amplitude_share(opacity_frac: float) -> float:
    """Return the share of the amplitude that a film takes which stops a share of the light.

    >>> amplitude_share(0.75)
    0.5
    """
    return 1 - math.sqrt(max(0.0, 1 - opacity_frac))


def wave_length_um(tau_um: float) -> float:
    """Return ``sqrt(lambda0 * tau)``, the scale of all shadows on one stack [um].

    >>> round(wave_length_um(1333.3), 1)
    27.0
    """
    return math.sqrt(WAVELENGTH_UM * tau_um)


def sizes_up_to(size_um: float, tau_um: float) -> int:
    """Return how many of the table's sizes hold all up to a size, with some to spare.

    In steps, so that what was reckoned for one frame's marks serves others.
    """
    nodes = _size_nodes()
    above = bisect_left(nodes, size_um / wave_length_um(tau_um)) + 1
    return min(-(-above // SIZE_STEP) * SIZE_STEP, len(nodes))


@lru_cache(maxsize=1)
def _size_nodes() -> list[float]:
    sizes: list[float] = shadow_table().nodes.tolist()
    return sizes


def disc_kernel(
    radii: NDArray[np.float64], edges: NDArray[np.float64], diameter: float
) -> NDArray[np.float64]:
    """Return the weights that average a radial curve over a disc laid at each radius.

    Parameters
    ----------
    radii : (k,) float64
        Distances of the disc's centre from the centre of the curve.
    edges : (m + 1,) float64
        Borders of the cells on which the curve is given.
    diameter : float
        Diameter of the disc, greater than 0.

    Returns
    -------
    (k, m) float64
        Rows add up to 1 where the disc lies within the last edge.
    """
    within = disc_overlap_area(radii[:, None], edges[None, :], diameter / 2)
    return np.diff(within, axis=1) / (np.pi * diameter**2 / 4)


def chord_kernel(
    offsets: NDArray[np.float64], edges: NDArray[np.float64], diameter: float
) -> NDArray[np.float64]:
    """Return the weights that average an even curve of distance over a disc's chords.

    The same as `disc_kernel` for a curve that is constant along one direction.
    """
    near = strip_share((edges[None, :] - offsets[:, None]) / (diameter / 2))
    far = strip_share((edges[None, :] + offsets[:, None]) / (diameter / 2))
    return np.diff(near + far, axis=1)


def reach_cells(edges: NDArray[np.float64], reach: float) -> int:
    """Return how many cells must be kept so that they cover a reach."""
    return min(int(np.searchsorted(edges, reach)) + 1, edges.size - 1)
