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

OPACITIES = (0.2, 0.4, 0.55, 0.7, 0.85, 1.0)
"""Opacities at which depths are computed; between them they are interpolated."""
N_PEAK_RADII = 40
PEAK_MARGIN = 1.0
PROFILE_STEP = 0.12
N_BLUR_STEPS = 60
PROFILE_MARGIN = 2.0
BLOCK_RADII = 40
"""Neighbouring radii whose discs are averaged over together."""
TINY = 1e-9


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
    edges = np.arange(waves.cross.shape[0] + 1) * step
    laid = np.empty((2, *waves.cross.shape))
    middles = (edges[1:] + edges[:-1]) / 2
    for block, cells, weights in _blocks(middles, edges, cell * CELL_TO_DISC, shape):
        np.divide(weights, weights.sum(axis=1, keepdims=True), out=weights)
        np.matmul(weights, waves.cross[cells], out=laid[0, block])
        np.matmul(weights, waves.power[cells], out=laid[1, block])
    return Waves(cross=laid[0], power=laid[1])


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
class DepthCurve:
    """How deep shadows of all sizes are at one aperture.

    Parameters
    ----------
    size_um : (n,) float64
        Diameters of specks or widths of strips, rising.
    depth_frac : (k, n) float64
        Largest share of light lost for each of `OPACITIES` (0-1).
    power : int
        How the depth of the smallest grows with size: 2 for specks, 1 for strips.
    """

    size_um: NDArray[np.float64]
    depth_frac: NDArray[np.float64]
    power: int

    def depth(self, size_um: ArrayLike, opacity_frac: ArrayLike = 1.0) -> NDArray[np.float64]:
        """Return the depth at the given sizes and opacities, which broadcast (0-1)."""
        size, opacity = np.broadcast_arrays(
            np.maximum(np.asarray(size_um, dtype=np.float64), TINY),
            np.asarray(opacity_frac, dtype=np.float64),
        )
        row, upper = _lower_node(np.log(size), np.log(self.size_um))
        column, thicker = _lower_node(opacity, np.array(OPACITIES))
        log_depth = np.log(np.maximum(self.depth_frac, TINY))
        thin = np.exp(log_depth[column, row] * (1 - upper) + log_depth[column, row + 1] * upper)
        column += 1
        thick = np.exp(log_depth[column, row] * (1 - upper) + log_depth[column, row + 1] * upper)
        faint = np.minimum(opacity / OPACITIES[0], 1.0)
        small = np.minimum(size / self.size_um[0], 1.0) ** self.power
        depth: NDArray[np.float64] = (thin * (1 - thicker) + thick * thicker) * faint * small
        return depth

    def size_for(self, depth_frac: ArrayLike) -> NDArray[np.float64]:
        """Return the smallest opaque size that reaches a depth; infinite if none does [um]."""
        asked = np.maximum(np.asarray(depth_frac, dtype=np.float64), TINY)
        rising = np.maximum.accumulate(self.depth_frac[-1]) + TINY * np.arange(self.size_um.size)
        inside = np.exp(np.interp(np.log(asked), np.log(rising), np.log(self.size_um)))
        small = np.minimum(asked / rising[0], 1.0) ** (1 / self.power)
        return np.where(asked > rising[-1], np.inf, inside * small)


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
    """
    unit_um = wave_length_um(tau_um)
    blur = tau_um / f_number / unit_um
    step = (blur / 2 + PEAK_MARGIN) / N_PEAK_RADII
    waves = blurred(ring_middles(N_PEAK_RADII, step), blur, shape, n_sizes)
    waves = smoothed(waves, step, cell_um / unit_um, shape)
    depths = np.array([waves.loss(opacity).max(axis=0) for opacity in OPACITIES])
    return DepthCurve(
        size_um=shadow_table().nodes[:n_sizes] * unit_um,
        depth_frac=np.clip(depths, 0.0, 1.0),
        power=2 if shape == "speck" else 1,
    )


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
    """Return whole shadows of all sizes at one aperture; parameters as in `depth_curve`."""
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


def speck_depth(
    particle_um: ArrayLike, tau_um: float, f_number: float, cell_um: float = 0.0
) -> NDArray[np.float64]:
    """Return the depth of opaque specks' shadows by wave optics (0-1).

    Examples
    --------
    >>> speck_depth([10, 20, 50, 100], 4000 / 3, 22).round(2).tolist()
    [0.07, 0.2, 0.7, 0.93]
    """
    return depth_curve(tau_um, f_number, cell_um).depth(particle_um)


def fibre_depth(
    width_um: ArrayLike, length_um: ArrayLike, tau_um: float, f_number: float
) -> NDArray[np.float64]:
    """Return the depth of opaque fibres' shadows by wave optics (0-1).

    A fibre shorter than the blur disc fills only part of a chord, so its depth falls with
    N squared from there on.
    """
    depth = depth_curve(tau_um, f_number, 0.0, "strip").depth(width_um)
    blur = tau_um / f_number
    return depth * np.minimum(np.asarray(length_um, dtype=np.float64) / blur, 1.0)
