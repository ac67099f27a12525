"""How deep shadows are in their middle, by wave optics; units as in `motemap.optics.waves`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.table import amplitude_share, shadow_table, wave_length_um
from motemap.optics.waves import TINY, blurred, ring_middles, smoothed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from motemap.optics.waves import Shape

CURVE_OPACITIES = (0.2, 0.4, 0.55, 0.7, 0.85, 1.0)
"""Opacities at which depths are computed; between them they are interpolated."""
N_PEAK_RADII = 40
"""Radii at which the deepest place of a shadow is sought: half a blur disc ..."""
PEAK_MARGIN = 1.0
"""... and so much more, in units of ``sqrt(lambda0 tau)``, as waves carry it beyond the rays."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DepthCurve:
    """How deep shadows of all sizes are at one aperture.

    Parameters
    ----------
    size_um : (n,) float64
        Diameters of specks or widths of strips, rising.
    depth_frac : (k, n) float64
        Largest share of light lost for each of `CURVE_OPACITIES` (0-1).
    power : int
        How the depth of the smallest grows with size: 2 for specks, 1 for strips.
    """

    size_um: NDArray[np.float64]
    depth_frac: NDArray[np.float64]
    power: int

    def depth(self, size_um: ArrayLike, opacity_frac: ArrayLike = 1.0) -> NDArray[np.float64]:
        """Return the depth at the given sizes and opacities, which broadcast (0-1)."""
        depth: NDArray[np.float64] = depths_on([self], size_um, opacity_frac)[0]
        return depth

    def size_for(self, depth_frac: ArrayLike) -> NDArray[np.float64]:
        """Return the smallest opaque size that reaches a depth; infinite if none does [um]."""
        asked = np.maximum(np.asarray(depth_frac, dtype=np.float64), TINY)
        rising = np.maximum.accumulate(self.depth_frac[-1]) + TINY * np.arange(self.size_um.size)
        inside = np.exp(np.interp(np.log(asked), np.log(rising), np.log(self.size_um)))
        small = np.minimum(asked / rising[0], 1.0) ** (1 / self.power)
        return np.where(asked > rising[-1], np.inf, inside * small)


def depths_on(
    curves: Sequence[DepthCurve], size_um: ArrayLike, opacity_frac: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Return depths on m curves of the same sizes (0-1).

    Parameters
    ----------
    curves : sequence of DepthCurve
        One stack at several apertures.
    size_um, opacity_frac : array_like
        Sizes and opacities, which broadcast.

    Returns
    -------
    (m, ...) float64
    """
    nodes_um, power = curves[0].size_um, curves[0].power
    size, opacity = np.broadcast_arrays(
        np.maximum(np.asarray(size_um, dtype=np.float64), TINY),
        np.asarray(opacity_frac, dtype=np.float64),
    )
    row, upper = _lower_node(np.log(size), np.log(nodes_um))
    column, thicker = _lower_node(opacity, np.array(CURVE_OPACITIES))
    log_depth = np.log(np.maximum([curve.depth_frac for curve in curves], TINY))
    thin, thick = (
        np.exp(log_depth[:, k, row] * (1 - upper) + log_depth[:, k, row + 1] * upper)
        for k in (column, column + 1)
    )
    faint = np.minimum(opacity / CURVE_OPACITIES[0], 1.0)
    small = np.minimum(size / nodes_um[0], 1.0) ** power
    depth: NDArray[np.float64] = (thin * (1 - thicker) + thick * thicker) * faint * small
    return depth


def _lower_node(
    asked: NDArray[np.float64], nodes: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the node below each value, and the share of the node above it."""
    row = np.clip(np.searchsorted(nodes, asked) - 1, 0, nodes.size - 2)
    share = np.clip((asked - nodes[row]) / (nodes[row + 1] - nodes[row]), 0, 1)
    return np.asarray(row, dtype=np.int64), share


@lru_cache(maxsize=512)
def depth_curve(
    tau_um: float,
    f_number: float,
    cell_um: float = 0.0,
    shape: Shape = "speck",
    n_sizes: int | None = None,
) -> DepthCurve:
    """Return the depths of shadows of all sizes, or the smallest, at one aperture.

    Parameters
    ----------
    tau_um : float
        Air-equivalent distance from dust to photosites [um].
    f_number : float
        f-number; the marked number, as everywhere.
    cell_um : float
        Side of the square that light is averaged over [um].
    shape : {"speck", "strip"}
        Round speck or long straight fibre.
    n_sizes : int, optional
        How many of the sizes, from `motemap.optics.table.sizes_up_to`; all when left out.

    Examples
    --------
    >>> depth_curve(4000 / 3, 22.0).depth([10, 20, 50, 100]).round(2).tolist()
    [0.07, 0.2, 0.7, 0.93]
    """
    unit_um = wave_length_um(tau_um)
    blur = tau_um / f_number / unit_um
    step = (blur / 2 + PEAK_MARGIN) / N_PEAK_RADII
    waves = blurred(ring_middles(N_PEAK_RADII, step), blur, shape, n_sizes)
    waves = smoothed(waves, step, cell_um / unit_um, shape)
    share = np.array([amplitude_share(opacity) for opacity in CURVE_OPACITIES])[:, None, None]
    depths = (share * waves.cross - share**2 * waves.power).max(axis=1)
    return DepthCurve(
        size_um=shadow_table().nodes[:n_sizes] * unit_um,
        depth_frac=np.clip(depths, 0.0, 1.0),
        power=2 if shape == "speck" else 1,
    )
