"""Row and column banding: mains light, panel dimming, read-out offsets."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.mesh import SIGMA_PER_MAD
from motemap.strips import cell_strips, for_each, row_strips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows

LOOK_AT = 512
"""Cells of a line that are looked at: a median of so many is known to 6 % of the noise."""
MEDIAN_EXCESS = 1.2533
"""Standard deviation of the median of normal values over that of their mean."""
ODD_SIGMAS = 4.5
"""A line that stands off by so many times the error of its level is taken as it is."""
FEWEST_CELLS, FEWEST_SHARE = 16, 0.125
"""A line with fewer cells that count, or a smaller share of them, is left alone."""
STRIP_LINES = 128
"""Lines that are worked on at a time: their samples stay in the processor's cache."""
TINY = 1e-12
"""Keeps an error that may be 0 from being divided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stripes:
    """What banding adds to each row and column.

    Parameters
    ----------
    rows : (H,) float32
    cols : (W,) float32
    spread_frac : float
        Robust standard deviation of the row or the column levels, the larger.
    """

    rows: NDArray[np.float32]
    cols: NDArray[np.float32]
    spread_frac: float

    @property
    def are_there(self) -> bool:
        """Whether there is any banding."""
        return bool(self.rows.any() or self.cols.any())


def measure_stripes(contrast: Windows, valid: NDArray[np.bool_] | None) -> Stripes:
    """Measure by how much each row, and then each column, is off.

    By the median of a sample of its cells, which is blind to dust, and even to a long fibre
    along it. What such levels scatter by chance is held back, or it would be added to every
    frame without banding (shrinkage towards zero, after W. James and C. Stein, 1961).

    Parameters
    ----------
    contrast : (H, W) float32
    valid : (H, W) bool or None
        Cells that count; None when all of them do.
    """
    height, width = contrast.shape
    across, down = max(1, width // LOOK_AT), max(1, height // LOOK_AT)

    def row_levels(rows: slice) -> Levels:
        usable = None if valid is None else valid[rows, ::across]
        return line_levels(contrast[rows, ::across], usable)

    row_level, row_error = _joined(for_each(row_levels, row_strips(height, STRIP_LINES)))

    # Whole rows of a contrast that is worked out by windows cost far less than columns of it.
    few_rows = np.empty((-(-height // down), width), np.float32)

    def look(rows: slice) -> None:
        few_rows[rows] = contrast[rows.start * down : rows.stop * down : down, :]

    for_each(look, cell_strips(len(few_rows), width))

    def col_levels(cols: slice) -> Levels:
        sample = few_rows[:, cols] - row_level[::down, None]
        usable = None if valid is None else valid[::down, cols].T
        return line_levels(np.ascontiguousarray(sample.T), usable)

    col_level, col_error = _joined(for_each(col_levels, row_strips(width, STRIP_LINES)))
    # Along a row, banding of columns looks like noise; the columns were seen without the rows'.
    calm = float(np.median(col_error)) * math.sqrt((height // down) / (width // across))
    row_error *= np.float32(min(1.0, calm / max(float(np.median(row_error)), TINY)))
    rows, row_spread_frac = _beyond_chance(row_level, row_error)
    cols, col_spread_frac = _beyond_chance(col_level, col_error)
    return Stripes(rows=rows, cols=cols, spread_frac=max(row_spread_frac, col_spread_frac))


Levels = tuple["NDArray[np.float32]", "NDArray[np.float32]"]


def line_levels(sample: NDArray[np.float32], usable: NDArray[np.bool_] | None) -> Levels:
    """Return the median of each row over its usable cells, and the standard error of it.

    Where too few cells are usable the level is 0, and the error too.

    Parameters
    ----------
    sample : (n, m) float32
    usable : (n, m) bool or None
        None when all cells are.
    """
    n_lines, n_cells = sample.shape
    if usable is None:
        n_usable = np.full(n_lines, n_cells)
    else:
        n_usable = np.count_nonzero(usable, axis=1)
        sample = np.where(usable, sample, np.float32(np.inf))
    ordered = np.sort(sample, axis=1)
    lines = np.arange(n_lines)
    last = np.maximum(n_usable - 1, 0)
    low, level, high = (ordered[lines, last * part // 4] for part in (1, 2, 3))
    enough = n_usable >= max(FEWEST_CELLS, round(FEWEST_SHARE * n_cells))
    # The quartiles of normal values lie 1.349 standard deviations apart.
    sigma = (np.where(enough, high, 0) - np.where(enough, low, 0)) * (SIGMA_PER_MAD / 2)
    error = MEDIAN_EXCESS * sigma / np.sqrt(np.maximum(n_usable, 1))
    return np.where(enough, level, 0).astype(np.float32), error.astype(np.float32)


def _joined(parts: list[Levels]) -> Levels:
    return np.concatenate([level for level, _ in parts]), np.concatenate([err for _, err in parts])


def _beyond_chance(
    level: NDArray[np.float32], error: NDArray[np.float32]
) -> tuple[NDArray[np.float32], float]:
    """Return levels without what is no more than chance, and their spread."""
    spread = _spread(level)
    chance = float(np.median(error))
    kept = max(0.0, 1 - (chance / spread) ** 2) if spread > 0 else 0.0
    is_odd = np.abs(level - np.median(level)) > ODD_SIGMAS * error
    held = np.where(is_odd, level, kept * level).astype(np.float32)
    return held, spread * math.sqrt(kept)


def _spread(levels: NDArray[np.float32]) -> float:
    """Robust standard deviation: a fall of light along an edge is no banding."""
    return float(SIGMA_PER_MAD * np.median(np.abs(levels - np.median(levels))))
