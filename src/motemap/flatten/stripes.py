"""Row and column banding: mains light, panel dimming, read-out offsets."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
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
N_PARTS, ODD_PARTS = 8, 1
"""Parts of a line that are looked at by themselves, and how many of them may stand off: a line with
a wide mark from border to border across it has one or two."""
WHOLE_SHARE = 0.5
"""Banding runs along whole lines. Where a part has less than this share of a line's level, most of the
line is covered by a long mark along it, and that part tells its level; a choice."""
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
    along it; a mark that covers more than half of it is told by the rest. What such levels
    scatter by chance is held back, or it would be added to every frame without banding
    (shrinkage towards zero, after W. James and C. Stein, 1961).

    Parameters
    ----------
    contrast : (H, W) float32
    valid : (H, W) bool or None
        Cells that count; None when all of them do.
    """
    height, width = contrast.shape
    across, down = max(1, width // LOOK_AT), max(1, height // LOOK_AT)

    def look_along(rows: slice) -> _Lines:
        return _Lines.of(contrast[rows, ::across], None if valid is None else valid[rows, ::across])

    row_level, row_error = _levels(for_each(look_along, row_strips(height, STRIP_LINES)))

    # Whole rows of a contrast that is worked out by windows cost far less than columns of it.
    few_rows = np.empty((-(-height // down), width), np.float32)

    def look(rows: slice) -> None:
        few_rows[rows] = contrast[rows.start * down : rows.stop * down : down, :]

    for_each(look, cell_strips(len(few_rows), width))

    def look_down(cols: slice) -> _Lines:
        sample = few_rows[:, cols] - row_level[::down, None]
        usable = None if valid is None else valid[::down, cols].T
        return _Lines.of(np.ascontiguousarray(sample.T), usable)

    col_level, col_error = _levels(for_each(look_down, row_strips(width, STRIP_LINES)))
    # Along a row, banding of columns looks like noise; the columns were seen without the rows'.
    calm = float(np.median(col_error)) * math.sqrt((height // down) / (width // across))
    row_error *= np.float32(min(1.0, calm / max(float(np.median(row_error)), TINY)))
    rows, row_spread_frac = _beyond_chance(row_level, row_error)
    cols, col_spread_frac = _beyond_chance(col_level, col_error)
    return Stripes(rows=rows, cols=cols, spread_frac=max(row_spread_frac, col_spread_frac))


Levels = tuple["NDArray[np.float32]", "NDArray[np.float32]"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Some lines as they are looked at, the level of each and its error.

    Parameters
    ----------
    sample : (n, m) float32
    usable : (n, m) bool or None
        None when all cells are.
    level, error : (n,) float32
    """

    sample: NDArray[np.float32]
    usable: NDArray[np.bool_] | None
    level: NDArray[np.float32]
    error: NDArray[np.float32]

    @classmethod
    def of(cls, sample: NDArray[np.float32], usable: NDArray[np.bool_] | None) -> _Lines:
        level, error = line_levels(sample, usable)
        return cls(sample=sample, usable=usable, level=level, error=error)

    def in_parts(self) -> NDArray[np.float32]:
        """Return the level of each part of each line, that of the line where too few count, (p, n)."""
        ends = np.linspace(0, self.sample.shape[1], N_PARTS + 1).astype(int)
        parts = []
        for first, last in pairwise(ends):
            usable = None if self.usable is None else self.usable[:, first:last]
            part, _ = line_levels(self.sample[:, first:last], usable)
            parts.append(
                part if usable is None else np.where(_are_enough(usable), part, self.level)
            )
        return np.stack(parts)


def _levels(strips: list[_Lines]) -> Levels:
    """Return the level of each line as far as it holds along the whole of it, and its error."""
    level = np.concatenate([lines.level for lines in strips])
    error = np.concatenate([lines.error for lines in strips])
    # What scatters along a line because of a long mark is no noise.
    noise = math.sqrt(N_PARTS) * np.minimum(error, np.median(error))
    is_long = strips[0].sample.shape[1] >= N_PARTS * FEWEST_CELLS
    if not is_long or not (np.abs(level) > ODD_SIGMAS * noise).any():
        return level, error
    parts = np.concatenate(for_each(_Lines.in_parts, strips), axis=1)
    uneven = np.float32(SIGMA_PER_MAD) * np.median(np.abs(parts - level))
    least = ODD_SIGMAS * np.maximum(noise, uneven)
    odd = np.flatnonzero(np.abs(level) > least)
    shares = np.sort(parts[:, odd] / level[odd], axis=0)[ODD_PARTS]
    is_partly = shares + least[odd] / np.abs(level[odd]) < WHOLE_SHARE
    level[odd[is_partly]] *= np.maximum(shares[is_partly], 0)
    return level, error


def _are_enough(usable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which rows have cells enough for a level of their own, (n,)."""
    enough: NDArray[np.bool_] = np.count_nonzero(usable, axis=1) >= _fewest(usable.shape[1])
    return enough


def _fewest(n_cells: int) -> int:
    return max(FEWEST_CELLS, round(FEWEST_SHARE * n_cells))


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
    enough = n_usable >= _fewest(n_cells)
    # The quartiles of normal values lie 1.349 standard deviations apart.
    sigma = (np.where(enough, high, 0) - np.where(enough, low, 0)) * (SIGMA_PER_MAD / 2)
    error = MEDIAN_EXCESS * sigma / np.sqrt(np.maximum(n_usable, 1))
    return np.where(enough, level, 0).astype(np.float32), error.astype(np.float32)


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
