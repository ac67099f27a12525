"""Builds the table of coherent shadows that the package ships.

Run it after a change of the spectrum or the grids::

    python -m motemap.optics.build_shadow_table

Lengths are in units of ``sqrt(lambda0 * tau)``: with a fixed spectrum this scale turns the
shadows of all specks on all stacks into one family of curves. A row of the table is for one
speck (or fibre) lit by a *point* of the pupil in white light, averaged over each cell of
radius; the lens aperture is laid over it at look-up.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import fresnel, j0, roots_legendre

from motemap.optics.table import TABLE_NAME, WAVELENGTH_UM

if TYPE_CHECKING:
    from numpy.typing import NDArray

SPECTRUM_UM = (0.430, 0.660)
"""Ends of the flat spectrum that stands for a camera's colours brought to one level."""
N_WAVELENGTHS = 144
"""Lines that stand for it; of a few, each would show rings of its own."""
FIRST_NODE = 0.05
"""Smallest size, in units of ``sqrt(lambda0 tau)``; depths below go with the area."""
LAST_NODE = 42.0
"""Largest: 1.1 mm on a stack 1.3 mm away."""
NODE_RATIO = 0.075
NODE_STEP = 0.35
"""Sizes lie no farther apart than `NODE_RATIO` of themselves, nor than `NODE_STEP`."""
CELL = 0.1
"""Width of the cells of radius that shadows are averaged over."""
REACH = 30.0
"""Radius out to which shadows are reckoned: that of the largest, and nine units beyond."""
PANEL_POINTS = 20
"""Gauss points in the ring between two sizes."""
CELL_POINTS = 3
"""Gauss points in a cell of radius."""


def size_nodes() -> NDArray[np.float64]:
    """Return the sizes for which shadows are computed, in units of sqrt(lambda0 tau)."""
    nodes = [FIRST_NODE]
    while nodes[-1] < LAST_NODE:
        nodes.append(nodes[-1] + min(NODE_RATIO * nodes[-1], NODE_STEP))
    return np.array(nodes)


def cell_edges() -> NDArray[np.float64]:
    """Return the borders of the cells of radius, in units of sqrt(lambda0 tau)."""
    return np.linspace(0, REACH, round(REACH / CELL) + 1)


def wavelength_ratios() -> NDArray[np.float64]:
    """Return the wavelengths of the spectrum over the reference wavelength."""
    low_um, high_um = SPECTRUM_UM
    middles = (np.arange(N_WAVELENGTHS) + 0.5) / N_WAVELENGTHS
    return (low_um + middles * (high_um - low_um)) / WAVELENGTH_UM


def _cell_points(edges: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return Gauss points inside each cell, (n cells, `CELL_POINTS`)."""
    points, _ = roots_legendre(CELL_POINTS)
    return edges[:-1, None] + np.diff(edges)[:, None] * (points + 1) / 2


def speck_waves(
    nodes: NDArray[np.float64], edges: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return ``2 Re U`` and ``|U|^2`` around round specks, each (n nodes, n cells).

    ``U`` is the wave that would pass a hole of the speck's size (Fresnel integral, summed
    ring by ring so that one pass serves all sizes); what a speck leaves is the complement
    (Babinet): an opaque one takes ``1 - |1 - U|^2 = 2 Re U - |U|^2``.
    """
    radii = _cell_points(edges)
    _, weights = roots_legendre(CELL_POINTS)
    area_weights = radii * weights
    area_weights /= area_weights.sum(axis=1, keepdims=True)
    flat_radii = radii.ravel()
    waves = np.zeros((2, nodes.size, flat_radii.size))
    for ratio in wavelength_ratios():
        waves += _one_colour_speck(nodes / 2, flat_radii, float(ratio))
    shaped = waves.reshape(2, nodes.size, *radii.shape) * area_weights / N_WAVELENGTHS
    return shaped[0].sum(axis=2), shaped[1].sum(axis=2)


def _one_colour_speck(
    speck_radii: NDArray[np.float64], radii: NDArray[np.float64], ratio: float
) -> NDArray[np.float64]:
    points, weights = roots_legendre(PANEL_POINTS)
    waves = np.empty((2, speck_radii.size, radii.size))
    wave = np.zeros(radii.size, dtype=np.complex128)
    phase = -2j * np.pi / ratio * np.exp(1j * np.pi * radii**2 / ratio)
    inner = 0.0
    for row, outer in enumerate(speck_radii):
        rings = inner + (outer - inner) * (points + 1) / 2
        share = np.exp(1j * np.pi * rings**2 / ratio) * rings * weights * (outer - inner) / 2
        wave += j0(2 * np.pi / ratio * np.outer(radii, rings)) @ share
        passed = phase * wave
        waves[:, row] = 2 * passed.real, np.abs(passed) ** 2
        inner = float(outer)
    return waves


def strip_waves(
    nodes: NDArray[np.float64], edges: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return ``2 Re U`` and ``|U|^2`` beside the axis of long strips, each (n nodes, n cells)."""
    offsets = _cell_points(edges)
    _, weights = roots_legendre(CELL_POINTS)
    cross = np.zeros((nodes.size, *offsets.shape))
    power = np.zeros_like(cross)
    for ratio in wavelength_ratios():
        scale = np.sqrt(2 / ratio)
        for row, width in enumerate(nodes):
            sine_high, cosine_high = fresnel(scale * (offsets + width / 2))
            sine_low, cosine_low = fresnel(scale * (offsets - width / 2))
            real, imag = cosine_high - cosine_low, sine_high - sine_low
            # U = exp(-i pi / 4) / sqrt(2) * (real + i imag)
            cross[row] += real + imag
            power[row] += (real**2 + imag**2) / 2
    shares = weights / (weights.sum() * N_WAVELENGTHS)
    return np.asarray((cross * shares).sum(axis=2)), np.asarray((power * shares).sum(axis=2))


def build() -> dict[str, NDArray[np.float32]]:
    """Return all arrays of the table by name."""
    nodes, edges = size_nodes(), cell_edges()
    table = {"nodes": nodes, "edges": edges}
    table["speck_cross"], table["speck_power"] = speck_waves(nodes, edges)
    table["strip_cross"], table["strip_power"] = strip_waves(nodes, edges)
    return {name: values.astype(np.float32) for name, values in table.items()}


def main() -> None:
    """Write the table beside this module, or where the first argument says."""
    default = Path(__file__).with_name(TABLE_NAME)
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    with target.open("wb") as stream:
        # To unpack it takes three times as long as to read it, and it would be smaller by a tenth.
        np.savez(stream, allow_pickle=False, **build())


if __name__ == "__main__":
    main()
