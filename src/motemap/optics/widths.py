"""How wide shadows are at half their depth, by wave optics."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.table import shadow_table, sizes_up_to, wave_length_um
from motemap.optics.waves import (
    N_BLUR_STEPS,
    PROFILE_MARGIN,
    PROFILE_STEP,
    blurred,
    ring_middles,
    smoothed,
)

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from motemap.optics.waves import Shape


def half_widths_um(
    size_um: ArrayLike,
    tau_um: float,
    f_number: float,
    cell_um: float = 0.0,
    shape: Shape = "speck",
) -> NDArray[np.float64]:
    """Return the full widths at half depth of opaque marks of some sizes [um].

    Parameters
    ----------
    size_um : array_like
        Diameters of specks or widths of strips [um].
    tau_um, f_number, cell_um, shape
        As in `motemap.optics.depths.depth_curve`.
    """
    sizes_um = np.asarray(size_um, dtype=np.float64)
    n_sizes = sizes_up_to(float(sizes_um.max(initial=0.0)), tau_um)
    nodes_um = shadow_table().nodes[:n_sizes] * wave_length_um(tau_um)
    widths_um = _node_widths_um(tau_um, f_number, cell_um, shape, n_sizes)
    return np.interp(sizes_um, nodes_um, widths_um)


@lru_cache(maxsize=512)
def _node_widths_um(
    tau_um: float, f_number: float, cell_um: float, shape: Shape, n_sizes: int
) -> NDArray[np.float64]:
    """Return the widths of the shadows of the smallest sizes of the table [um]."""
    unit_um = wave_length_um(tau_um)
    nodes = shadow_table().nodes[:n_sizes]
    blur = tau_um / f_number / unit_um
    step = max(PROFILE_STEP, blur / N_BLUR_STEPS)
    radii = ring_middles(int(((nodes[-1] + blur) / 2 + PROFILE_MARGIN) / step) + 1, step)
    waves = smoothed(blurred(radii, blur, shape, n_sizes), step, cell_um / unit_um, shape)
    loss = waves.loss()
    half = loss.max(axis=0) / 2
    # Going inward, the first radius at which a shadow is half as deep; it ends between two.
    outer = radii.size - np.argmax((loss >= half)[::-1], axis=0)
    columns = np.flatnonzero(outer < radii.size)
    widths = nodes.copy()
    rim = outer[columns]
    above, below = loss[rim - 1, columns], loss[rim, columns]
    widths[columns] = 2 * (radii[rim - 1] + (above - half[columns]) / (above - below) * step)
    widths *= unit_um
    widths.setflags(write=False)
    return widths
