"""Wave-optics shadows of round specks and long fibres, in white light through a round aperture.

Seen through a whole aperture a shadow is the coherent shadow of one pupil point (from the
shipped table) blurred by the image ``B = tau / N`` of the pupil. Sizes are diameters of
specks or widths of fibres in um; `opacity_frac` is the share of the light the mark stops,
1 for opaque; `cell_um` is the side of the square the light was averaged over (a pixel, or a
cell of several).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from motemap.optics.table import (
    CELL_TO_DISC,
    amplitude_share,
    chord_kernel,
    disc_kernel,
    reach_cells,
    shadow_table,
    wave_length_um,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray

Shape = Literal["speck", "strip"]

PROFILE_STEP = 0.12
"""Step between the radii of a profile, in units of ``sqrt(lambda0 tau)``; about a cell of the table
..."""
N_BLUR_STEPS = 60
"""... or this part of a blur disc, where that is wider: a wide blur leaves nothing finer."""
PROFILE_MARGIN = 2.0
"""How far profiles reach beyond rays, in the same units: little is left there of the bright
rings."""
BLOCK_RADII = 48
"""Neighbouring radii whose discs are averaged over together."""
TINY = 1e-9
"""Keeps logarithms and divisions from 0."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waves:
    """The two parts of the light taken by marks of all sizes: ``s * cross - s^2 * power``.

    Parameters
    ----------
    cross, power : (m, n) float64
        At m radii for n sizes; `s` is the share of the amplitude taken.
    """

    cross: NDArray[np.float64]
    power: NDArray[np.float64]

    def loss(self, opacity_frac: float = 1.0) -> NDArray[np.float64]:
        """Return the share of light lost, (m, n)."""
        share = amplitude_share(opacity_frac)
        return share * self.cross - share**2 * self.power


def ring_middles(n_rings: int, step: float) -> NDArray[np.float64]:
    """Return the radii ``(i + 1/2) step``."""
    return (np.arange(n_rings, dtype=np.float64) + 0.5) * step


def blurred(
    radii: NDArray[np.float64], blur: float, shape: Shape, n_sizes: int | None = None
) -> Waves:
    """Return what marks of all sizes, or the `n_sizes` smallest, take through a whole aperture.

    At some radii; all lengths, `blur` too, in units of ``sqrt(lambda0 tau)``.
    """
    table = shadow_table()
    n_cells = reach_cells(table.edges, float(radii[-1]) + blur / 2)
    edges = table.edges[: n_cells + 1]
    cross, power = (
        (table.speck_cross, table.speck_power)
        if shape == "speck"
        else (table.strip_cross, table.strip_power)
    )
    curves = Waves(cross=cross[:n_sizes, :n_cells].T, power=power[:n_sizes, :n_cells].T)
    laid = np.empty((2, radii.size, curves.cross.shape[1]))
    for block, cells, weights in _blocks(radii, edges, blur, shape):
        np.matmul(weights, curves.cross[cells], out=laid[0, block])
        np.matmul(weights, curves.power[cells], out=laid[1, block])
    return Waves(cross=laid[0], power=laid[1])


def smoothed(waves: Waves, step: float, cell: float, shape: Shape) -> Waves:
    """Average what is given at radii ``(i + 1/2) step`` over cells of some side."""
    if cell <= 0:
        return waves
    laid = np.empty((2, *waves.cross.shape))
    for block, cells, weights in _smoothing_blocks(waves.cross.shape[0], step, cell, shape):
        np.matmul(weights, waves.cross[cells], out=laid[0, block])
        np.matmul(weights, waves.power[cells], out=laid[1, block])
    return Waves(cross=laid[0], power=laid[1])


def smoothing_matrix(n_radii: int, step: float, cell: float, shape: Shape) -> NDArray[np.float64]:
    """Return the matrix that averages curves at so many radii as `smoothed` does."""
    matrix = np.zeros((n_radii, n_radii))
    for block, cells, weights in _smoothing_blocks(n_radii, step, cell, shape):
        matrix[block, cells] = weights
    return matrix


def _smoothing_blocks(
    n_radii: int, step: float, cell: float, shape: Shape
) -> Iterator[tuple[slice, slice, NDArray[np.float64]]]:
    """Yield the weights that average what is given at radii ``(i + 1/2) step`` over a cell."""
    edges = np.arange(n_radii + 1, dtype=np.float64) * step
    for block, cells, weights in _blocks(
        ring_middles(n_radii, step), edges, cell * CELL_TO_DISC, shape
    ):
        yield block, cells, weights / weights.sum(axis=1, keepdims=True)


def _blocks(
    radii: NDArray[np.float64], edges: NDArray[np.float64], diameter: float, shape: Shape
) -> Iterator[tuple[slice, slice, NDArray[np.float64]]]:
    """Yield the weights that average over a disc at rising radii, a block of neighbours each time.

    Their rows, the cells that a disc of theirs can cover, and the weights of those.
    """
    kernel = disc_kernel if shape == "speck" else chord_kernel
    for first in range(0, radii.size, BLOCK_RADII):
        block = slice(first, min(first + BLOCK_RADII, radii.size))
        inner, outer = radii[first] - diameter / 2, radii[block.stop - 1] + diameter / 2
        cells = slice(
            max(int(np.searchsorted(edges, inner)) - 1, 0),
            min(int(np.searchsorted(edges, outer)) + 1, edges.size - 1),
        )
        yield block, cells, kernel(radii[block], edges[cells.start : cells.stop + 1], diameter)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shadows:
    """Whole shadows of all sizes at one aperture.

    Parameters
    ----------
    size_um : (n,) float64
        Diameters of specks or widths of strips, rising.
    radius_um : (m,) float64
        Distances from the centre or from the axis, evenly spaced, ``(i + 1/2) step``.
    waves : Waves
        What is taken at those radii.
    shape : {"speck", "strip"}
        What throws the shadows.
    """

    size_um: NDArray[np.float64]
    radius_um: NDArray[np.float64]
    waves: Waves
    shape: Shape

    def profile(
        self, size_um: float, radius_um: ArrayLike, opacity_frac: float = 1.0
    ) -> NDArray[np.float64]:
        """Return the share of light lost at distances from the centre or the axis."""
        row, upper, small = self._between(size_um)
        share = amplitude_share(opacity_frac)
        columns = slice(row, row + 2)
        pair = share * self.waves.cross[:, columns] - share**2 * self.waves.power[:, columns]
        curve = (pair[:, 0] * (1 - upper) + pair[:, 1] * upper) * small
        return np.interp(np.asarray(radius_um, dtype=np.float64), self.radius_um, curve, right=0.0)

    def half_width_um(self, size_um: float, opacity_frac: float = 1.0) -> float:
        """Return the full width at half depth [um]."""
        curve = self.profile(size_um, self.radius_um, opacity_frac)
        half = curve.max() / 2
        last = int(np.flatnonzero(curve >= half)[-1])
        if last + 1 >= curve.size:
            return size_um
        drop = (curve[last] - half) / (curve[last] - curve[last + 1])
        step_um = self.radius_um[1] - self.radius_um[0]
        return float(2 * (self.radius_um[last] + drop * step_um))

    def enclosed_um2(self, radius_um: ArrayLike, opacity_frac: float = 1.0) -> NDArray[np.float64]:
        """Return the light lost within a radius, or each of several, for all sizes.

        In um2, or um for strips; (n,) or (k, n).
        """
        step_um = float(self.radius_um[1] - self.radius_um[0])
        inner = self.radius_um - step_um / 2
        radii_um = np.asarray(radius_um, dtype=np.float64)[..., None]
        share = np.clip((radii_um - inner) / step_um, 0, 1)
        if self.shape == "strip":
            measure = 2 * step_um * share
        else:
            measure = np.pi * step_um * share * (2 * inner + step_um * share)
        enclosed: NDArray[np.float64] = measure @ self.waves.loss(opacity_frac)
        return enclosed

    def _between(self, size_um: float) -> tuple[int, float, float]:
        """Return the lower node, the share of the upper one, and a factor for tiny sizes."""
        power = 2 if self.shape == "speck" else 1
        small = min(size_um / float(self.size_um[0]), 1.0) ** power
        asked = min(max(size_um, float(self.size_um[0])), float(self.size_um[-1]))
        row = int(np.clip(np.searchsorted(self.size_um, asked) - 1, 0, self.size_um.size - 2))
        low, high = self.size_um[row] ** power, self.size_um[row + 1] ** power
        return row, float((asked**power - low) / (high - low)), small


@lru_cache(maxsize=64)
def shadows(
    tau_um: float, f_number: float, cell_um: float = 0.0, shape: Shape = "speck"
) -> Shadows:
    """Return whole shadows of all sizes at one aperture.

    Parameters as in `motemap.optics.depths.depth_curve`.
    """
    unit_um = wave_length_um(tau_um)
    table = shadow_table()
    blur = tau_um / f_number / unit_um
    step = max(PROFILE_STEP, blur / N_BLUR_STEPS)
    reach = (float(table.nodes[-1]) + blur) / 2 + PROFILE_MARGIN + blur
    radii = ring_middles(int(reach / step) + 1, step)
    waves = smoothed(blurred(radii, blur, shape), step, cell_um / unit_um, shape)
    return Shadows(
        size_um=table.nodes * unit_um, radius_um=radii * unit_um, waves=waves, shape=shape
    )
