"""The dips of one level: filter, learn the scatter of the answers, pick, follow.

Strip by strip, in two rounds: the scatter has to be known over the whole frame before any
answer can be judged by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.grow import GROW_SIGMAS, Candidates, grow
from motemap.detect.response import Response, means_of
from motemap.detect.scatter import STRIP_SIGMAS, Scatter, measure_scatter, scatter_of_sample
from motemap.filters import SQUARE
from motemap.planes import enlarge, enlarge_across
from motemap.strips import cell_strips, for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.fine import Squares
    from motemap.detect.level_plane import Cut, LevelPlane
    from motemap.planes import Steps
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
    layer: LevelPlane, settings: DetectSettings, *, is_wide: bool, squares: Squares | None = None
) -> Dips:
    """Find all dips at one level, and with `squares` those of the finest as well.

    Parameters
    ----------
    layer : LevelPlane
    settings : DetectSettings
    is_wide : bool
        Whether the level looks for what is rarely dust and often structure.
    squares : Squares, optional
        What the fine cells show.
    """
    answers = _filtered(layer, settings, squares)
    found = for_each(
        lambda strip: _picked(answers, layer, settings, *strip, is_wide=is_wide),
        zip(_strips(layer), answers.cuts, strict=True),
    )
    candidates = Candidates.joined(found)
    kept, is_fine = grow(candidates, layer.plane.shape)
    down, right = np.divmod(candidates.cells[kept], layer.plane.shape[1])
    return Dips(
        rows=down,
        cols=right,
        is_fine=is_fine,
        snr=candidates.snr[kept],
        scatter=answers.scatter,
        fine_scatter=answers.fine,
    )


def _strips(layer: LevelPlane) -> tuple[slice, ...]:
    height, width = layer.plane.shape
    return cell_strips(height, width, step=STRIP_STEP)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answers:
    """What the filters' answers over a whole frame are held against, and how they scatter.

    Parameters
    ----------
    narrow : (H, W) float32
        The layer's plane as the level's filter sees it.
    cuts : list of Cut
        What was cut off before, strip by strip.
    darkest : (H, W) float32 or None
        What the finest filter holds against the wide mean.
    surround, wide : Steps
        The wide mean, and the one that marks are followed against.
    scatter, depth_scatter : Scatter
        Of the answers against `surround`, and of the depth against `wide`.
    fine : Scatter or None
        Of the finest filter's answers.
    """

    narrow: NDArray[np.float32]
    cuts: list[Cut]
    darkest: NDArray[np.float32] | None
    surround: Steps
    wide: Steps
    scatter: Scatter
    depth_scatter: Scatter
    fine: Scatter | None


def _filtered(layer: LevelPlane, settings: DetectSettings, squares: Squares | None) -> Answers:
    """Filter a layer, what is too deep cut off meanwhile, and learn how the answers scatter."""
    plane, valid, is_coded = layer.plane, layer.valid, layer.floor_frac is not None
    strips = _strips(layer)
    cuts = for_each(lambda rows: layer.cut(rows, settings), strips)
    narrow, surround, wide = means_of(plane)
    for rows, cut in zip(strips, cuts, strict=True):
        layer.restore(rows, cut)
    score, depth = Response(narrow=narrow, wide=surround), Response(narrow=narrow, wide=wide)
    fine = None
    if squares is not None:
        sample = squares.sample - surround.values
        fine = scatter_of_sample(sample, plane.shape, valid=valid, is_coded=is_coded)
    return Answers(
        narrow=narrow,
        cuts=cuts,
        darkest=None if squares is None else squares.darkest,
        surround=surround,
        wide=wide,
        scatter=measure_scatter(score, LEVEL_SIGMA, valid=valid, is_coded=is_coded),
        depth_scatter=measure_scatter(depth, LEVEL_SIGMA, valid=valid),
        fine=fine,
    )


def _picked(
    answers: Answers,
    layer: LevelPlane,
    settings: DetectSettings,
    rows: slice,
    cut: Cut,
    *,
    is_wide: bool,
) -> Candidates:
    """Return the cells of some rows that stand out, and which of them are enough for a mark."""
    n_cols = layer.plane.shape[1]
    strict = WIDE_STRICTNESS if is_wide else 1.0
    cells = np.flatnonzero(_may_stand_out(answers, settings, rows, strict))
    down, col = np.divmod(cells, n_cols)
    row = down + rows.start
    surround, score = answers.surround.at(row, col), answers.narrow[rows].ravel()[cells]
    depth = answers.wide.at(row, col) - score
    np.subtract(surround, score, out=score)
    snr = score * answers.scatter.inverse_at(row, col)
    if is_wide:
        snr *= np.float32(1 / strict)
        snr[_is_along_border(row, col, layer.plane.shape)] *= np.float32(1 / BORDER_STRICTNESS)
    low = depth * answers.depth_scatter.inverse_at(row, col) > GROW_SIGMAS
    low |= snr > settings.snr_grow
    # Where contrast was cut for the filter, the plane itself tells the depth.
    whole = np.full((rows.stop - rows.start) * n_cols, np.inf, np.float32)
    whole[cut.cells] = cut.contrast
    np.maximum(depth, -whole[cells], out=depth)
    low &= depth > 0
    seeds = _are_seeds(score, snr, layer, settings, (row, col))
    fine_seeds = np.zeros(seeds.shape, np.bool_)
    if answers.fine is not None and answers.darkest is not None:
        score = surround - answers.darkest[rows].ravel()[cells]
        fine_snr = score * answers.fine.inverse_at(row, col)
        fine_seeds = _are_seeds(score, fine_snr, layer, settings, (row, col))
        np.maximum(snr, fine_snr, out=snr)
    low |= seeds
    low |= fine_seeds
    return Candidates(
        cells=cells[low] + rows.start * n_cols,
        depth_frac=depth[low],
        snr=snr[low],
        is_seed=seeds[low],
        is_fine_seed=fine_seeds[low],
    )


def _are_seeds(
    score: NDArray[np.float32],
    snr: NDArray[np.float32],
    layer: LevelPlane,
    settings: DetectSettings,
    place: tuple[NDArray[np.intp], NDArray[np.intp]],
) -> NDArray[np.bool_]:
    """Return which cells are enough for a mark by an answer and its significance, (n,)."""
    needed = settings.snr_min * (1.0 if layer.floor_frac is None else CODED_STRICTNESS)
    seeds = snr > needed
    clear = np.flatnonzero(seeds)
    rows, cols = (along[clear] for along in place)
    seeds[clear] = score[clear] > layer.lowest_at(rows, cols, settings)
    if layer.valid is not None:
        seeds[clear] &= layer.valid[rows, cols]
    return seeds


def _may_stand_out(
    answers: Answers, settings: DetectSettings, rows: slice, strict: float
) -> NDArray[np.bool_]:
    """Return which cells of some rows have to be looked at one by one; most have not.

    Held against the least scatter of these rows, square by square.
    """
    snr = min(settings.snr_grow, settings.snr_min)
    surround = _squares_of(answers.surround, rows)
    wide = enlarge(_squares_of(answers.wide, rows), answers.wide.side // SQUARE)
    level = np.maximum(
        surround - snr * strict * _least_of_squares(answers.scatter, rows),
        wide[: surround.shape[0], : surround.shape[1]]
        - GROW_SIGMAS * _least_of_squares(answers.depth_scatter, rows),
    )
    stands_out = _is_below(answers.narrow[rows], level)
    if answers.fine is not None and answers.darkest is not None:
        asked = settings.snr_min * _least_of_squares(answers.fine, rows)
        level = surround - np.maximum(asked, np.float32(settings.depth_min_frac))
        stands_out |= _is_below(answers.darkest[rows], level)
    return stands_out


def _least_of_squares(scatter: Scatter, rows: slice) -> NDArray[np.float32]:
    """Return the least standard deviation in some rows, for each column of squares."""
    most = scatter.most_along(rows)
    beside = np.append(most[1:], most[-1])
    least: NDArray[np.float32] = 1 / np.maximum(most[::SQUARE], beside[::SQUARE])
    return least


def _is_below(cells: NDArray[np.float32], level: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Return which cells are darker than their squares allow."""
    across = enlarge_across(level, SQUARE)[:, : cells.shape[1]]
    below = np.empty(cells.shape, np.bool_)
    for down in range(SQUARE):
        lines = cells[down::SQUARE]
        np.less(lines, across[: len(lines)], out=below[down::SQUARE])
    return below


def _squares_of(steps: Steps, rows: slice) -> NDArray[np.float32]:
    """Return the squares of some whole rows, the first at a multiple of their side."""
    return steps.values[rows.start // steps.side : -(-rows.stop // steps.side)]


def _is_along_border(
    rows: NDArray[np.intp], cols: NDArray[np.intp], shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Return which cells lie along the borders, where structure is cut open."""
    depth = max(1, round(STRIP_SIGMAS * LEVEL_SIGMA))
    height, width = shape
    nearest = np.minimum(np.minimum(rows, height - 1 - rows), np.minimum(cols, width - 1 - cols))
    return nearest < depth
