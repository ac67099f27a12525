"""The dips of one level: filter, learn the scatter of the answers, pick, follow.

Strip by strip, in two rounds: the scatter has to be known over the whole frame before any
answer can be judged by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.grow import GROW_SIGMAS, Candidates, grow
from motemap.detect.response import surround_of, wide_level_of
from motemap.detect.scatter import STRIP_SIGMAS, Scatter, measure_scatter, scatter_of_sample
from motemap.filters import UNIT_REACH, smooth_unit
from motemap.strips import cell_strips, for_each, rows_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.fine import Squares
    from motemap.detect.layer import Layer
    from motemap.planes import Steps, Window
    from motemap.settings import DetectSettings

LEVEL_SIGMA = 1.0
"""Filter sigma of every level [cells of that level]. Pooling doubles it from level to level; a
dip that falls between two loses 6 % of its signal to noise, 2 s t / (s^2 + t^2) for Gaussians
whose sigmas s and t differ by the square root of 2 (derived)."""
CODED_STRICTNESS = 1.05
"""Scatter between few codes is known less well, and has wider tails."""
WIDE_STRICTNESS = 1.25
BORDER_STRICTNESS = 1.4
"""How many times the usual significance is asked of wide dips, and of those along a border."""
KEEP_BRIGHT = 0.5
"""Light above the background is cut at this share of the bound for dark: it is never dust, and
raises the surround."""
STRIP_STEP = 4
"""Strips begin at multiples of this, as the widest mean is kept pooled by it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dips:
    """What one level found, cell by cell.

    Parameters
    ----------
    rows, cols : (n,) int
        Where; in reading order.
    is_fine : (n,) bool
        Whether it was the finest filter that found it.
    snr : (n,) float32
        Significance.
    scatter : Scatter
        Of the level's filter.
    fine_scatter : Scatter or None
        Of the finest filter, where it took part.
    """

    rows: NDArray[np.intp]
    cols: NDArray[np.intp]
    is_fine: NDArray[np.bool_]
    snr: NDArray[np.float32]
    scatter: Scatter
    fine_scatter: Scatter | None = None


def find_dips(
    layer: Layer, settings: DetectSettings, *, is_wide: bool, squares: Squares | None = None
) -> Dips:
    """Find all dips at one level, and with `squares` those of the finest as well.

    Parameters
    ----------
    layer : Layer
    settings : DetectSettings
    is_wide : bool
        Whether the level looks for what is rarely dust and often structure.
    squares : Squares, optional
        What the fine cells show.
    """
    answers = _filtered(layer, settings, squares)
    strips = _strips(layer)
    found = for_each(lambda rows: _picked(answers, layer, settings, rows, is_wide=is_wide), strips)
    candidates = Candidates.joined(found)
    kept, is_fine = grow(candidates, layer.plane.shape)
    rows, cols = np.divmod(candidates.cells[kept], layer.plane.shape[1])
    return Dips(
        rows=rows,
        cols=cols,
        is_fine=is_fine,
        snr=candidates.snr[kept],
        scatter=answers.scatter,
        fine_scatter=answers.fine,
    )


def _strips(layer: Layer) -> tuple[slice, ...]:
    height, width = layer.plane.shape
    return cell_strips(height, width, step=STRIP_STEP)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answers:
    """The filters' answers over a whole frame, and how they scatter.

    Parameters
    ----------
    calm : (H, W) float32
        The layer's plane, cut at what the filters are to see of it.
    score : (H, W) float32
        Wide mean less narrow mean.
    darkest : (H, W) float32 or None
        What the finest filter holds against the wide mean.
    surround, wide : Steps
        The wide mean, and the one that marks are followed against.
    scatter, depth_scatter : Scatter
        Of `score`, and of the depth against `wide`.
    fine : Scatter or None
        Of the finest filter's answers.
    """

    calm: NDArray[np.float32]
    score: NDArray[np.float32]
    darkest: NDArray[np.float32] | None
    surround: Steps
    wide: Steps
    scatter: Scatter
    depth_scatter: Scatter
    fine: Scatter | None


def _filtered(layer: Layer, settings: DetectSettings, squares: Squares | None) -> Answers:
    shape, is_coded = layer.plane.shape, layer.floor_frac is not None
    calm, score = np.empty(shape, np.float32), np.empty(shape, np.float32)

    def calm_down(rows: slice) -> None:
        bound = layer.bound(rows, settings)
        np.clip(layer.plane[rows], -bound, KEEP_BRIGHT * bound, out=calm[rows])

    for_each(calm_down, _strips(layer))
    surround, wide = surround_of(calm), wide_level_of(calm)

    def answer(rows: slice) -> None:
        outer, inner = rows_round(rows, UNIT_REACH, shape[0])
        soft = smooth_unit(calm[outer])[inner]
        np.subtract(surround.rows(rows), soft, out=score[rows])

    for_each(answer, _strips(layer))
    fine = None
    if squares is not None:
        sample = squares.sample - surround.values
        fine = scatter_of_sample(sample, shape, valid=layer.valid, is_coded=is_coded)
    return Answers(
        calm=calm,
        score=score,
        darkest=None if squares is None else squares.darkest,
        surround=surround,
        wide=wide,
        scatter=measure_scatter(score, LEVEL_SIGMA, valid=layer.valid, is_coded=is_coded),
        depth_scatter=measure_scatter(
            _Depth(score=score, surround=surround, wide=wide), LEVEL_SIGMA, valid=layer.valid
        ),
        fine=fine,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Depth:
    """Depth against the mean that marks are followed against, worked out by windows."""

    score: NDArray[np.float32]
    surround: Steps
    wide: Steps

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        return self.score.shape

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the depth in a window."""
        return self.score[window] + self.wide[window] - self.surround[window]


def _picked(
    answers: Answers, layer: Layer, settings: DetectSettings, rows: slice, *, is_wide: bool
) -> Candidates:
    """Return the cells of some rows that stand out, and which of them are enough for a mark."""
    n_cols = layer.plane.shape[1]
    lowest = layer.lowest(rows, settings)
    needed = settings.snr_min * (1.0 if layer.floor_frac is None else CODED_STRICTNESS)
    score = answers.score[rows]
    surround = answers.surround.rows(rows)
    depth = answers.wide.rows(rows) - surround
    depth += score
    snr = score * answers.scatter.inverse(rows)
    if is_wide:
        snr *= np.float32(1 / WIDE_STRICTNESS)
        _discount_borders(snr, rows, layer.plane.shape)
    seeds = (score > lowest) & (snr > needed)
    low = depth * answers.depth_scatter.inverse(rows) > GROW_SIGMAS
    low |= snr > settings.snr_grow
    # Where contrast was cut for the filter, the plane itself tells the depth.
    plane = layer.plane[rows]
    is_cut = plane < answers.calm[rows]
    depth[is_cut] = np.maximum(depth[is_cut], -plane[is_cut])
    low &= depth > 0
    fine_seeds = np.zeros(seeds.shape, np.bool_)
    if answers.fine is not None and answers.darkest is not None:
        surround -= answers.darkest[rows]
        fine_snr = surround * answers.fine.inverse(rows)
        fine_seeds = (surround > lowest) & (fine_snr > needed)
        np.maximum(snr, fine_snr, out=snr)
    if layer.valid is not None:
        seeds &= layer.valid[rows]
        fine_seeds &= layer.valid[rows]
    low |= seeds
    low |= fine_seeds
    cells = np.flatnonzero(low)
    return Candidates(
        cells=cells + rows.start * n_cols,
        depth_frac=depth.ravel()[cells],
        snr=snr.ravel()[cells],
        is_seed=seeds.ravel()[cells],
        is_fine_seed=fine_seeds.ravel()[cells],
    )


def _discount_borders(snr: NDArray[np.float32], rows: slice, shape: tuple[int, ...]) -> None:
    """Lower the significance of wide dips along the borders, where structure is cut open."""
    depth = max(1, round(STRIP_SIGMAS * LEVEL_SIGMA))
    share = np.float32(1 / BORDER_STRICTNESS)
    down, across = (np.ones(n_cells, np.float32) for n_cells in shape)
    for line in (down, across):
        line[:depth] = share
        line[-depth:] = share
    snr *= np.minimum(down[rows, None], across[None, :])
