"""Search from fine to coarse: each level looks for marks about twice as wide as the last.

What a level finds is filled in before the plane is pooled for the next, so that a small deep
speck does not come back as a wide faint one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.dips import (
    CODED_STRICTNESS,
    LEVEL_SIGMA,
    WIDE_STRICTNESS,
    Dips,
    find_dips,
)
from motemap.detect.fine import pool_squares
from motemap.detect.level_plane import LevelPlane
from motemap.detect.response import SURROUND_SIGMA
from motemap.filters import SQUARE
from motemap.masks import Box, Boxes
from motemap.planes import Blanked, enlarge
from motemap.records import ScaleNoise

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.scatter import Scatter
    from motemap.records import FlatFrame
    from motemap.settings import DetectSettings


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What all levels together found, by squares of `SQUARE` cells a side.

    Parameters
    ----------
    label : (h, w) int32
        0 where nothing was found; otherwise 1 + the index of the level that found it.
    snr : (h, w) float32
        Largest significance over the filters of all levels.
    scale_noise : tuple of ScaleNoise
        Scatter of every filter, sigma in cells of the flattened plane.
    shape : (int, int)
        Rows and columns of the flattened plane.
    """

    label: NDArray[np.int32]
    snr: NDArray[np.float32]
    scale_noise: tuple[ScaleNoise, ...]
    shape: tuple[int, int]

    def label_in(self, box: Box) -> NDArray[np.int32]:
        """Return the label of every cell in a box of the flattened plane."""
        outer = tuple(slice(side.start // SQUARE, -(-side.stop // SQUARE)) for side in box)
        cells = enlarge(self.label[outer], SQUARE)
        rows, cols = (
            slice(side.start - SQUARE * whole.start, side.stop - SQUARE * whole.start)
            for side, whole in zip(box, outer, strict=True)
        )
        return cells[rows, cols]

    def cells_of(self, squares: Boxes) -> Boxes:
        """Return the cells of boxes of squares."""
        stop = np.minimum(SQUARE * squares.stop, np.array(self.shape, np.intp))
        return Boxes(start=SQUARE * squares.start, stop=stop)


def search_levels(
    flat: FlatFrame, n_levels: int, settings: DetectSettings, usual_sigma_cell: float
) -> Search:
    """Look for dips at every level and say where they are.

    Parameters
    ----------
    flat : FlatFrame
    n_levels : int
        Number of times that the plane is pooled, plus one; the first two are searched together.
    settings : DetectSettings
    usual_sigma_cell : float
        Filters wider than this [cells] look for what is rarely dust and often structure, so
        more is asked of their answers, and most along the borders.
    """
    has_blanks = not flat.valid.all()
    squares = pool_squares(
        Blanked(plane=flat.contrast, valid=flat.valid) if has_blanks else flat.contrast
    )
    layer = LevelPlane.of_squares(flat, squares.mean)
    valid = layer.valid
    label = np.zeros(layer.plane.shape, np.int32)
    snr = np.zeros(layer.plane.shape, np.float32)
    scale_noise: list[ScaleNoise] = []
    usual = 1.0 if flat.floor_frac is None else CODED_STRICTNESS
    for level in range(1, max(n_levels, 2)):
        side = SQUARE ** (level - 1)
        is_wide = usual_sigma_cell < LEVEL_SIGMA * SQUARE * side
        dips = find_dips(
            layer,
            settings,
            is_wide=is_wide,
            squares=squares if level == 1 else None,
        )
        if dips.fine_scatter is not None:
            scale_noise.append(_scale_noise(0, dips.fine_scatter, usual))
        strictness = usual * (WIDE_STRICTNESS if is_wide else 1.0)
        scale_noise.append(_scale_noise(level, dips.scatter, strictness))
        _enter(label, snr, dips, level)
        if level + 1 < n_levels:
            layer = layer.pooled(dips)
    if valid is not None:
        label[~valid] = 0
    height, width = flat.contrast.shape
    return Search(label, snr, tuple(scale_noise), (height, width))


def _scale_noise(level: int, scatter: Scatter, strictness: float) -> ScaleNoise:
    """Return the scatter of a level; the finest filter, level 0, shares the surround of the first."""
    return ScaleNoise(
        sigma_cell=LEVEL_SIGMA * SQUARE**level,
        surround_cell=SURROUND_SIGMA * SQUARE ** max(level, 1),
        scatter_frac=scatter.median_frac,
        uneven_frac=scatter.uneven_frac,
        strictness=strictness,
    )


def _enter(label: NDArray[np.int32], snr: NDArray[np.float32], dips: Dips, level: int) -> None:
    """Write what a level found into the maps of all levels; it is few cells of many."""
    side = SQUARE ** (level - 1)
    height, width = label.shape
    within = np.arange(side)
    rows = (dips.rows * side)[:, None, None] + within[:, None]
    cols = (dips.cols * side)[:, None, None] + within
    inside = np.flatnonzero((rows < height) & (cols < width))
    cells = (rows * width + cols).ravel()[inside]
    dip = inside // side**2
    number = np.where(dips.is_fine, level, level + 1).astype(np.int32)[dip]
    known = label.ravel()[cells]
    label.reshape(-1)[cells] = np.where(known == 0, number, known)
    snr.reshape(-1)[cells] = np.maximum(snr.ravel()[cells], dips.snr[dip])
