"""What noise reduction leaves of noise in a picture of few codes: lone grains that look like marks.

It smooths most of the noise away and keeps the strongest grains, as it keeps detail. The rest of
a dark picture then lies on plateaus of one code, of which a grain of one or two codes stands out
as clearly as a faint shadow. But as many grains are bright as are dark, and dust is never bright:
where about as many bright spots are as strong as there are marks as deep, these are grains, too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import SQUARE, smooth
from motemap.masks import grown, label_cells
from motemap.medians import typical
from motemap.planes import enlarge, values_at
from motemap.strips import for_each, rows_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpots, Regions, Windows

GRAIN_SIGMA_CELL = 1.5
"""Blur under which grains and marks are held against each other: about as wide as grains are."""
LEAST_STEPS = 0.7
"""Brighter grains are looked for, in codes; a speck less deep is not looked for either."""
COARSE_FRAC = 0.007
"""Where a code is a smaller share of the light, grains of `MOST_STEPS` are just about as deep as what
shows."""
MOST_STEPS = 3.0
"""Deeper marks, in codes, are no grains; a choice."""
CALM_STEPS = 0.1
"""Cells that lie on a plateau stray no farther from each other, in codes; where noise has not been
smoothed away, the scatter about a mark tells it from noise (drawn frames: 0.01 to 0.09 there, 0.12
and more elsewhere)."""
FEWEST_BRIGHT = 3
"""One or two bright spots may be something else, in a frame of whatever many cells."""
MOST_GRAINS_FRAC = 0.5
"""Share of the marks of some depth that may be grains: above, each is more likely one than not."""
MARGIN = 1.15
"""Dark grains are as many as bright ones of so many times less; they go a little deeper, as less
light is steeper in codes (drawn frames)."""
LOOKED_AT_CELLS = 6_000_000
"""Cells in which bright grains are looked for, strips of the whole frame."""
STRIP_CELLS = 64
"""Rows of such a strip."""
REACH_CELLS = 6
"""So far that blur reaches."""
RING_CELLS, RING_RADIUS_CELLS = 32, 8.0
"""Cells asked round a bright spot, beyond its blur, whether it lies on a plateau."""
UPPER_QUARTILE = 0.75
"""Of how far these are from their median."""
PAD_CELLS = 10
"""Rows that are looked at beyond a strip, so that what lies on its border is whole; even."""
SKIRT_SQUARES = 6
"""So near to marks lie their bright rims."""


def are_grains(
    flat: FlatFrame,
    regions: Regions,
    spots: MeasuredSpots,
    is_asked: NDArray[np.bool_],
    marked: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Tell which of n marks may be grains of noise, (n,).

    Parameters
    ----------
    flat : FlatFrame
    regions : Regions
        Where they are.
    spots : MeasuredSpots
        The same, measured.
    is_asked : (n,) bool
        Which it is asked of; the others are none.
    marked : (H / 2, W / 2) bool
        Squares of 2 x 2 cells with any mark.
    """
    feigned = np.zeros(len(regions), np.bool_)
    if flat.step_frac is None or flat.floor_frac is None:
        return feigned
    middle = (regions.start + regions.stop) // 2
    step_frac = values_at(flat.step_frac, middle[:, 0], middle[:, 1])
    is_faint = is_asked & (step_frac > COARSE_FRAC)
    is_faint &= spots.depth_frac < MOST_STEPS * step_frac
    faint = np.flatnonzero(is_faint & (spots.calm_frac < CALM_STEPS * step_frac))
    if not faint.size:
        return feigned
    bright = _bright_steps(flat, flat.step_frac, marked)
    dark_frac = np.array([_depth_of(flat, regions, number) for number in faint.tolist()])
    feigned[faint] = _are_mostly_grains(dark_frac / step_frac[faint], bright)
    return feigned


def _are_mostly_grains(dark_steps: NDArray[np.float64], bright: BrightGrains) -> NDArray[np.bool_]:
    """Tell of which marks there are hardly more than grains would make of themselves.

    As many grains are to be expected dark as are seen bright: what is counted there is how many of
    the marks are none (the target-decoy estimate of false discoveries, J. Elias and S. Gygi,
    "Nature Methods" 4, 2007, from memory).

    Parameters
    ----------
    dark_steps : (n,) float64
        Depths of the marks [codes].
    bright : BrightGrains
    """
    highest = np.sort(bright.steps)
    n_brighter = highest.size - np.searchsorted(highest, dark_steps / MARGIN)
    deepest = np.sort(dark_steps)
    n_deeper = deepest.size - np.searchsorted(deepest, dark_steps)
    n_expected = n_brighter / bright.looked_at_frac
    is_many = n_brighter >= FEWEST_BRIGHT
    mostly: NDArray[np.bool_] = is_many & (n_expected > MOST_GRAINS_FRAC * n_deeper)
    return mostly


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BrightGrains:
    """Bright spots on plateaus of one code, in some strips of a frame.

    Parameters
    ----------
    steps : (m,) float32
        How bright each is [codes].
    looked_at_frac : float
        Share of the frame that was looked at (0-1).
    """

    steps: NDArray[np.float32]
    looked_at_frac: float


def _bright_steps(flat: FlatFrame, step_frac: Windows, marked: NDArray[np.bool_]) -> BrightGrains:
    """Look for bright grains in strips of the whole frame."""
    height, width = flat.contrast.shape
    n_apart = max(1, math.ceil(height * width / LOOKED_AT_CELLS))
    least_frac = LEAST_STEPS * typical(step_frac)
    near = grown(marked, SKIRT_SQUARES)

    def look(first: int) -> NDArray[np.float32]:
        outer, inner = rows_round(slice(first, min(first + STRIP_CELLS, height)), PAD_CELLS, height)
        contrast = flat.contrast[outer, :]
        bright = smooth(contrast, GRAIN_SIGMA_CELL)
        bright[~flat.valid[outer]] = 0
        hidden = enlarge(near[outer.start // SQUARE : -(-outer.stop // SQUARE)], SQUARE)
        bright[hidden[: len(bright), :width]] = 0
        row, col = np.nonzero(bright > least_frac)
        step = values_at(step_frac, row + outer.start, col)
        codes = (bright[row, col] / step).astype(np.float32)
        pieces = label_cells(row * width + col, width)
        order = np.lexsort((codes, pieces))
        peaks = order[np.flatnonzero(np.diff(pieces[order], append=-1))]
        row, col, step = row[peaks], col[peaks], step[peaks]
        # On a border between strips it is the peak that tells in which one a grain counts.
        is_asked = (row >= inner.start) & (row < inner.stop) & (step > COARSE_FRAC)
        is_asked &= _strays(contrast, row, col) < CALM_STEPS * step
        highest: NDArray[np.float32] = codes[peaks][is_asked]
        return highest

    strips = for_each(look, range(0, height, STRIP_CELLS * n_apart))
    return BrightGrains(steps=np.concatenate(strips), looked_at_frac=1 / n_apart)


def _strays(
    contrast: NDArray[np.float32], row: NDArray[np.intp], col: NDArray[np.intp]
) -> NDArray[np.float32]:
    """Return by how much the cells round some places stray, (n,), as `calm_frac` says of marks."""
    turn = np.arange(RING_CELLS) * (2 * math.pi / RING_CELLS)
    down, right = (
        np.rint(RING_RADIUS_CELLS * way(turn)).astype(np.intp) for way in (np.sin, np.cos)
    )
    height, width = contrast.shape
    rows, cols = row[:, None] + down, col[:, None] + right
    ring = contrast[np.clip(rows, 0, height - 1), np.clip(cols, 0, width - 1)]
    away = np.abs(ring - np.median(ring, axis=1, keepdims=True))
    strays: NDArray[np.float32] = np.quantile(away, UPPER_QUARTILE, axis=1).astype(np.float32)
    return strays


def _depth_of(flat: FlatFrame, regions: Regions, number: int) -> float:
    """Return how deep a mark is under the blur of grains."""
    rows, cols = (
        slice(max(0, int(first) - REACH_CELLS), min(int(last) + REACH_CELLS, side))
        for first, last, side in zip(
            regions.start[number], regions.stop[number], flat.contrast.shape, strict=True
        )
    )
    return float(-smooth(flat.contrast[rows, cols], GRAIN_SIGMA_CELL).min())
