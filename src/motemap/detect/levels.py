"""Search from fine to coarse: each level looks for marks about twice as wide as the last.

What a level finds is filled in before the plane is pooled for the next, so that a small deep
speck does not come back as a wide faint one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.response import SURROUND_SIGMA, surround_of, wide_level_of
from motemap.detect.scatter import STRIP_SIGMAS, Scatter, measure_scatter
from motemap.filters import label_pieces, pool, smooth
from motemap.records import ScaleNoise

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame
    from motemap.settings import DetectSettings

LEVEL_SIGMA = 1.0
"""Filter sigma of every level [cells of that level]. Pooling doubles it from level to level; a
dip that falls between two loses 6 % of its signal to noise, 2 s t / (s^2 + t^2) for Gaussians
whose sigmas s and t differ by the square root of 2 (derived)."""
KEEP_SIGMAS = 12.0
"""Contrast is cut at so many sigmas before filtering, lest a deep mark hide its neighbours ..."""
KEEP_FLOORS = 4.0
"""... but never at less than so many times the smallest depth asked for: what is cut to less
could not reach it, as the filter passes on but half."""
CODED_STRICTNESS = 1.05
"""Scatter between few codes is known less well, and has wider tails."""
WIDE_STRICTNESS = 1.25
BORDER_STRICTNESS = 1.4
"""How many times the usual significance is asked of wide dips, and of those along a border."""
GROW_SIGMAS = 2.5
"""A mark is followed to where its depth sinks below so many sigmas ..."""
GROW_OF_PEAK = 0.18
"""... or below this share of its deepest place."""
KEEP_BRIGHT = 0.5
"""Light above the background is cut at this share of the bound for dark: it is never dust, and
raises the surround."""


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What all levels together found, on the finest grid.

    Parameters
    ----------
    label : (H, W) int32
        0 where nothing was found; otherwise 1 + the index of the level that found it.
    snr : (H, W) float32
        Largest significance over the filters of all levels.
    scale_noise : tuple of ScaleNoise
        Scatter of every filter, sigma in cells of the finest grid.
    """

    label: NDArray[np.int32]
    snr: NDArray[np.float32]
    scale_noise: tuple[ScaleNoise, ...]


def search_levels(
    flat: FlatFrame, n_levels: int, settings: DetectSettings, usual_sigma_cell: float
) -> Search:
    """Look for dips at every level and say where they are.

    Parameters
    ----------
    flat : FlatFrame
    n_levels : int
        Number of times that the plane is pooled, plus one.
    settings : DetectSettings
    usual_sigma_cell : float
        Filters wider than this [cells] look for what is rarely dust and often structure, so
        more is asked of their answers, and most along the borders.
    """
    plane = np.where(flat.valid, flat.contrast, np.float32(0))
    noise_frac, floor_frac = flat.noise_frac, flat.floor_frac
    valid = None if flat.valid.all() else flat.valid
    label = np.zeros(plane.shape, np.int32)
    snr = np.zeros(plane.shape, np.float32)
    scale_noise: list[ScaleNoise] = []
    for level in range(n_levels):
        side = 2**level
        layer = Layer(plane=plane, noise_frac=noise_frac, floor_frac=floor_frac, valid=valid)
        found, best, scatter_frac = find_dips(layer, settings, usual_sigma_cell / side)
        scale_noise.append(
            ScaleNoise(
                sigma_cell=LEVEL_SIGMA * side,
                surround_cell=SURROUND_SIGMA * side,
                scatter_frac=scatter_frac,
            )
        )
        _enter(label, snr, found, best, level)
        if level + 1 < n_levels:
            plane[_with_neighbours(found)] = 0
            plane = pool(plane)
            noise_frac = pool(noise_frac) * np.float32(0.5)
            floor_frac = None if floor_frac is None else pool(floor_frac)
            valid = None if valid is None else pool(valid.astype(np.float32)) >= 1
    label[~flat.valid] = 0
    return Search(label=label, snr=snr, scale_noise=tuple(scale_noise))


def _enter(
    label: NDArray[np.int32],
    snr: NDArray[np.float32],
    found: NDArray[np.bool_],
    best: NDArray[np.float32],
    level: int,
) -> None:
    """Write what a level found into the maps of the finest grid; it is few cells of many."""
    side = 2**level
    rows, cols = np.nonzero(found)
    scores = best[rows, cols]
    for down in range(side):
        for right in range(side):
            there = rows * side + down, cols * side + right
            inside = (there[0] < label.shape[0]) & (there[1] < label.shape[1])
            cells = there[0][inside], there[1][inside]
            label[cells] = np.where(label[cells] == 0, level + 1, label[cells])
            snr[cells] = np.maximum(snr[cells], scores[inside])


def _with_neighbours(found: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the cells of a mask and those next to them."""
    rows, cols = np.nonzero(found)
    near = [(down, right) for down in (-1, 0, 1) for right in (-1, 0, 1)]
    all_rows = np.concatenate([rows + down for down, _ in near])
    all_cols = np.concatenate([cols + right for _, right in near])
    return all_rows.clip(0, found.shape[0] - 1), all_cols.clip(0, found.shape[1] - 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """The flattened frame as one level sees it.

    Parameters
    ----------
    plane : (H, W) float32
        Contrast, 0 where it does not count and where finer levels found a mark.
    noise_frac : (H, W) float32
        Noise of one cell.
    floor_frac : (H, W) float32 or None
        Depth that coarse codes can feign.
    valid : (H, W) bool or None
        Cells that count; None when all do.
    """

    plane: NDArray[np.float32]
    noise_frac: NDArray[np.float32]
    floor_frac: NDArray[np.float32] | None
    valid: NDArray[np.bool_] | None


def find_dips(
    layer: Layer, settings: DetectSettings, usual_sigma_cell: float
) -> tuple[NDArray[np.bool_], NDArray[np.float32], float]:
    """Return the cells of all dips at this level, their SNR, and the filter's scatter."""
    plane, floor_frac, valid = layer.plane, layer.floor_frac, layer.valid
    floor = np.float32(settings.depth_min_frac)
    lowest = floor if floor_frac is None else np.maximum(floor_frac, floor)
    bound = np.maximum(KEEP_SIGMAS * layer.noise_frac, KEEP_FLOORS * lowest)
    calm = np.clip(plane, -bound, KEEP_BRIGHT * bound)
    surround = surround_of(calm)
    soft = smooth(calm, LEVEL_SIGMA)
    score = surround - soft
    scatter = measure_scatter(score, LEVEL_SIGMA, valid=valid, is_coded=floor_frac is not None)
    seeds = score > lowest
    score *= scatter.inverse
    if usual_sigma_cell < LEVEL_SIGMA:
        score *= np.float32(1 / WIDE_STRICTNESS)
        _discount_borders(score, LEVEL_SIGMA)
    needed = settings.snr_min if floor_frac is None else CODED_STRICTNESS * settings.snr_min
    seeds &= score > needed
    if valid is not None:
        seeds &= valid
    if seeds.any():
        depth = wide_level_of(calm) - soft
        scale = measure_scatter(depth, LEVEL_SIGMA, valid=valid)
        # Where contrast was cut for the filter, the plane itself tells the depth.
        cut = np.flatnonzero(plane < -bound)
        depth.flat[cut] = np.maximum(depth.flat[cut], -plane.flat[cut])
        seeds = _grow(seeds, score, depth, scale, settings)
    return seeds, score, scatter.median_frac


def _discount_borders(score: NDArray[np.float32], sigma_cell: float) -> None:
    """Lower the score of wide dips along the borders, where structure is cut open."""
    depth = max(1, round(STRIP_SIGMAS * sigma_cell))
    share = np.float32(1 / BORDER_STRICTNESS)
    score[:depth] *= share
    score[-depth:] *= share
    score[depth:-depth, :depth] *= share
    score[depth:-depth, -depth:] *= share


def _grow(
    seeds: NDArray[np.bool_],
    best: NDArray[np.float32],
    depth: NDArray[np.float32],
    scatter: Scatter,
    settings: DetectSettings,
) -> NDArray[np.bool_]:
    """Follow each seed to where its depth sinks into the scatter or to a share of its peak.

    Depth is against a wide mean, not against the background: a mark inside a soft shadow must
    not take the shadow with it. What is wider still comes back at the next level and joins.
    """
    low = best > settings.snr_grow
    low |= depth * scatter.inverse > GROW_SIGMAS
    low &= depth > 0
    low |= seeds
    label = label_pieces(low)
    n_labels = int(label.max())
    cells = np.flatnonzero(label)
    owner = label.ravel()[cells]
    depths = depth.ravel()[cells]
    order = np.argsort(owner, kind="stable")
    starts = np.searchsorted(owner[order], np.arange(1, n_labels + 1))
    peak = np.maximum.reduceat(depths[order], starts)
    is_seed = seeds.ravel()[cells]
    has_seed = np.bincount(owner[is_seed], minlength=n_labels + 1)[1:] > 0
    keep = has_seed[owner - 1] & ((depths > GROW_OF_PEAK * peak[owner - 1]) | is_seed)
    grown = np.zeros(depth.size, bool)
    grown[cells[keep]] = True
    return grown.reshape(depth.shape)
