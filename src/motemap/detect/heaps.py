"""Tell a heap of shadows that lie over one another, and take it apart.

A sum of enough shadows explains anything smooth. A heap is believed to be one only when few
explain it as well as one shadow explains a mark standing alone, and when the search comes to the
same few from other places too: along a fibre, a row of shadows could as well lie half a step on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.boxes import box_of
from motemap.detect.clump_sites import clump_sites
from motemap.detect.dips import LEVEL_SIGMA
from motemap.detect.moving import COL, DENSITY, RADIUS, ROW
from motemap.detect.pursuit import Task, explain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.detect.clumps import Clumps
    from motemap.detect.profile import Profile
    from motemap.detect.pursuit import ClumpFit
    from motemap.detect.usual import Usual
    from motemap.masks import Box
    from motemap.records import Cells, FlatFrame

COARSEST_OF_RADIUS = 0.6
"""What a filter wider than this found is no heap of usual shadows: those are found finer."""
CROWDED_AREAS, MOST_AREAS = 1.25, 60.0
"""A clump may hold more marks that has more than so many times the area of those known."""
SHADOWS_OF_AREA, SHADOWS_BESIDES = 2.5, 2
"""How many shadows may be sought in the area of one, and besides."""
ALLOWED = 1.25
"""Heaps leave no more than so many times what marks standing alone leave."""
PAIR, LEFT_OF_HEAP = 2, 0.1
"""More than two flat shadows have to be seen so clearly that no more than this share is left."""
CLEAR_SNR = 10.0
"""Signal to noise of the faintest shadow of a heap."""
DEEPEST_USUAL = 0.51
"""Density of the deepest shadow of a heap: 0.4 of the light. A deeper one is that of a grain wider
than 0.55 blur discs, which has a width of its own: 15 % more than the smallest, as far as any counts
as usual (wave optics). What is larger still may then be one grain as well as several, and those
would hide each other's light instead of adding up."""
MOST_BELLS, FAINTEST_BELL, WIDEST_BELL, NEAREST_BELL = 4, 0.25, 1.12, 1.2
"""Shadows without a flat middle add up to any smooth shape, so one more is believed at most: the
most of them in a heap, the faintest over the deepest, the widest over the usual, and the nearest
in radii."""
LONGEST_ROUND, LEAST_MOMENT = 1.17, 1e-6
"""A large mark no longer than this, over its width, is one large speck."""
SAME_RADII = 0.03
"""Two searches found the same shadow when the places differ by less than this."""
EDGE_OF_PEAK = 0.15
"""A mark reaches to where its own shadow sinks to this share of its depth."""
ROOM_CELLS = 3
"""Cells round a mark that are freed as well: smoothing looks so far."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shade:
    """One shadow of several that lie over one another.

    Parameters
    ----------
    box : (slice, slice)
        Where it lies in the plane.
    mask : (h, w) bool
        Its cells.
    alone : (h, w) float32
        Contrast with the other shadows taken off.
    share : float
        Its density over that of the deepest.
    """

    box: Box
    mask: NDArray[np.bool_]
    alone: NDArray[np.float32]
    share: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Heap:
    """What may be a heap: the number of a clump, and how to look for its shadows."""

    number: int
    snr: float
    n_marks: int
    crop: Box
    task: Task


def take_apart(
    flat: FlatFrame,
    clumps: Clumps,
    share: NDArray[np.intp],
    n_marks: NDArray[np.intp],
    usual: Usual,
) -> dict[int, tuple[Shade, ...]]:
    """Find the heaps among clumps that are no mere marks side by side.

    Parameters
    ----------
    flat : FlatFrame
    clumps : Clumps
    share : (k,) int
        To which mark of its clump each cell belongs, as dips part them; from 1.
    n_marks : (n,) int
        Into how many they part it.
    usual : Usual

    Returns
    -------
    dict of int to tuple of Shade
        The shadows of each clump that is a heap, by its number.
    """
    n_most = _rooms(clumps, n_marks, usual)
    numbers = np.flatnonzero(n_most > n_marks)
    heaps = []
    for number, site in zip(
        numbers.tolist(), clump_sites(flat, clumps, numbers, share), strict=True
    ):
        noise_frac = float(clumps.noise_frac[number])
        task = Task(
            ground=site.ground,
            starts=site.summits,
            n_most=int(n_most[number]),
            enough_frac=usual.left_frac(noise_frac, site.ground.held_frac),
        )
        heap = _Heap(
            number=number,
            snr=float(clumps.snr[number]),
            n_marks=int(n_marks[number]),
            crop=site.crop,
            task=task,
        )
        heaps.append(heap)
    return {
        heap.number: tuple(_shades(flat, fit, heap.crop, usual.shape.profile))
        for heap, fit in _believed(heaps, usual)
    }


def _rooms(clumps: Clumps, n_marks: NDArray[np.intp], usual: Usual) -> NDArray[np.intp]:
    """Return how many shadows clumps may hold at most; none or few when they are no heaps."""
    coarsest = max(LEVEL_SIGMA, COARSEST_OF_RADIUS * usual.radius)
    areas = clumps.low_areas() / usual.low_area
    is_crowded = (CROWDED_AREAS * n_marks < areas) & (areas < MOST_AREAS)
    is_crowded &= clumps.sigma_cell <= coarsest
    if usual.is_flat:
        n_most = SHADOWS_BESIDES + np.ceil(SHADOWS_OF_AREA * areas)
        return np.where(is_crowded, n_most, 0).astype(np.intp)
    is_crowded &= (n_marks < MOST_BELLS) & (areas <= CROWDED_AREAS * (n_marks + 1))
    is_lone = is_crowded & (n_marks == 1)
    low = clumps.cells.only(clumps.is_low).of_masks(np.flatnonzero(is_lone))
    is_crowded[is_lone] = _elongations(low) > LONGEST_ROUND
    return np.where(is_crowded, n_marks + 2, 0)


def _elongations(cells: Cells) -> NDArray[np.float64]:
    """Return length over width of the ellipses with the second moments of masks, (n,)."""
    of_mask, most = cells.mask, cells.counts - 1
    down, right = np.stack([cells.row, cells.col]) - cells.middles()[of_mask].T
    by_rows, mixed, by_cols = (
        np.bincount(of_mask, product, cells.n_masks) / most
        for product in (down * down, down * right, right * right)
    )
    middle, apart = (by_rows + by_cols) / 2, np.hypot((by_rows - by_cols) / 2, mixed)
    return np.sqrt((middle + apart) / np.maximum(middle - apart, LEAST_MOMENT))


def _believed(heaps: Sequence[_Heap], usual: Usual) -> list[tuple[_Heap, ClumpFit]]:
    """Return the heaps whose shadows are to be believed, with these.

    One bell more than is believed is sought, to see whether it is wanted; mostly even the first
    is not to be believed, which is seen sooner.
    """
    found: list[tuple[_Heap, ClumpFit]] = []
    for n_spared in (0,) if usual.is_flat else (1, 0):
        tasks = [replace(heap.task, n_most=heap.task.n_most - n_spared) for heap in heaps]
        fits = explain(usual.shape, tasks)
        found = [
            (heap, fit) for heap, fit in zip(heaps, fits, strict=True) if _is_heap(heap, fit, usual)
        ]
        heaps = [heap for heap, _ in found]
    again = explain(usual.shape, [replace(heap.task, starts=_middles(fit)) for heap, fit in found])
    return [
        (heap, fit)
        for (heap, fit), other in zip(found, again, strict=True)
        if _is_same(fit, other, SAME_RADII * usual.radius)
    ]


def _is_heap(heap: _Heap, fit: ClumpFit, usual: Usual) -> bool:
    """Tell whether the shadows that were found explain a clump, and are to be believed."""
    density = fit.shadows[:, DENSITY]
    if len(density) <= heap.n_marks or fit.left_frac > ALLOWED * heap.task.enough_frac:
        return False
    if density.max() > DEEPEST_USUAL:
        return False
    if usual.is_flat:
        # By the fit itself: round a heap, the scatter is raised by the heap.
        cells = math.sqrt(math.pi) * usual.radius
        is_clear = float(density.min()) * cells > CLEAR_SNR * fit.left_frac
        return is_clear and (len(density) <= PAIR or fit.left_frac < LEFT_OF_HEAP * fit.held_frac)
    share = float(density.min() / density.max())
    widest = float(fit.shadows[:, RADIUS].max())
    return (
        len(density) == heap.n_marks + 1
        and share > max(FAINTEST_BELL, CLEAR_SNR / heap.snr)
        and widest < WIDEST_BELL * usual.radius
        and _apart(fit, fit)[~np.eye(len(density), dtype=bool)].min() > NEAREST_BELL * widest
    )


def _apart(fit: ClumpFit, other: ClumpFit) -> NDArray[np.float64]:
    """Return the distances of the shadows of two fits [cells]."""
    steps = (fit.shadows[:, None] - other.shadows)[:, :, :DENSITY]
    apart: NDArray[np.float64] = np.hypot(*steps.transpose(2, 0, 1))
    return apart


def _middles(fit: ClumpFit) -> list[tuple[float, float]]:
    """Return the middles between each shadow and its nearest neighbour, each once."""
    apart = _apart(fit, fit)
    np.fill_diagonal(apart, np.inf)
    pairs = {tuple(sorted(pair)) for pair in enumerate(apart.argmin(axis=1).tolist())}
    middles = [fit.shadows[list(pair), :DENSITY].mean(axis=0) for pair in sorted(pairs)]
    return [(float(row), float(col)) for row, col in middles]


def _is_same(fit: ClumpFit, again: ClumpFit, reach: float) -> bool:
    """Tell whether two fits found the same shadows."""
    if len(fit.shadows) != len(again.shadows):
        return False
    return bool((_apart(fit, again).min(axis=1) < reach).all())


def _shades(flat: FlatFrame, fit: ClumpFit, crop: Box, profile: Profile) -> list[Shade]:
    """Free the shadows of a fit, whose places count in a crop, of one another."""
    rows, cols = np.indices([side.stop - side.start for side in crop])
    layers = []
    for shadow in fit.shadows:
        away = np.hypot(rows - shadow[ROW], cols - shadow[COL]) / shadow[RADIUS]
        layers.append(shadow[DENSITY] * profile.at(away))
    light = 1.0 + flat.contrast[crop].astype(np.float64)
    together = np.sum(layers, axis=0)
    deepest = float(fit.shadows[:, DENSITY].max())
    found = []
    for layer, shadow in zip(layers, fit.shadows, strict=True):
        mask = layer > EDGE_OF_PEAK * shadow[DENSITY]
        inner = _roomy_box(mask)
        alone = light[inner] * np.exp((together - layer)[inner]) - 1.0
        found.append(
            Shade(
                box=box_of(crop, inner),
                mask=mask[inner],
                alone=alone.astype(np.float32),
                share=float(shadow[DENSITY]) / deepest,
            )
        )
    return found


def _roomy_box(mask: NDArray[np.bool_]) -> Box:
    """Return the box round some cells, with room for smoothing where there is any."""
    sides = []
    for axis, n_cells in enumerate(mask.shape):
        along = np.flatnonzero(mask.any(axis=1 - axis))
        start, stop = int(along[0]) - ROOM_CELLS, int(along[-1]) + 1 + ROOM_CELLS
        sides.append(slice(max(start, 0), min(stop, n_cells)))
    return sides[0], sides[1]
