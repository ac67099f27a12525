"""Search from fine to coarse: each level looks for marks about twice as wide as the last.

What a level finds is filled in before the plane is pooled for the next, so that a small deep
speck does not come back as a wide faint one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from motemap.detect.fine import SQUARE, Squares, pool_squares
from motemap.detect.grow import GROW_SIGMAS, grow
from motemap.detect.response import SURROUND_SIGMA, surround_of, wide_level_of
from motemap.detect.scatter import SAMPLE, STRIP_SIGMAS, Scatter, measure_scatter, scatter_of_sample
from motemap.filters import Box, enlarge, pool, smooth_fine
from motemap.planes import Blanked
from motemap.records import ScaleNoise

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Windows
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
KEEP_BRIGHT = 0.5
"""Light above the background is cut at this share of the bound for dark: it is never dust, and
raises the surround."""


Value = TypeVar("Value", bound=np.generic)


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
        return _cells_in(self.label, box)

    def snr_in(self, box: Box) -> NDArray[np.float32]:
        """Return the significance of every cell in a box of the flattened plane."""
        return _cells_in(self.snr, box)

    def give_free(self, box: Box, cells: NDArray[np.bool_], kept: NDArray[np.bool_]) -> None:
        """Forget the squares of some cells in a box, itself cut at squares, of which none is kept."""
        squares = tuple(slice(side.start // SQUARE, -(-side.stop // SQUARE)) for side in box)
        self.label[squares][_squares_with(cells) & ~_squares_with(kept)] = 0

    def box_of(self, squares: Box) -> Box:
        """Return the cells of a box of squares."""
        rows, cols = (
            slice(SQUARE * side.start, min(SQUARE * side.stop, n_cells))
            for side, n_cells in zip(squares, self.shape, strict=True)
        )
        return rows, cols


def _squares_with(cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which squares hold any of some cells."""
    rows = np.logical_or.reduceat(cells, np.arange(0, cells.shape[0], SQUARE), axis=0)
    return np.logical_or.reduceat(rows, np.arange(0, cells.shape[1], SQUARE), axis=1)


def _cells_in(squares: NDArray[Value], box: Box) -> NDArray[Value]:
    outer = tuple(slice(side.start // SQUARE, -(-side.stop // SQUARE)) for side in box)
    cells = enlarge(squares[outer], SQUARE)
    rows, cols = (
        slice(side.start - SQUARE * whole.start, side.stop - SQUARE * whole.start)
        for side, whole in zip(box, outer, strict=True)
    )
    return cells[rows, cols]


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
    layer = Layer.of_squares(flat, squares.mean)
    valid = layer.valid
    label = np.zeros(layer.plane.shape, np.int32)
    snr = np.zeros(layer.plane.shape, np.float32)
    scale_noise: list[ScaleNoise] = []
    for level in range(1, max(n_levels, 2)):
        side = SQUARE ** (level - 1)
        dips = find_dips(
            layer, settings, usual_sigma_cell / (SQUARE * side), squares if level == 1 else None
        )
        if level == 1:
            scale_noise.append(_scale_noise(0, 2 * SURROUND_SIGMA, dips.fine_scatter_frac))
        scale_noise.append(_scale_noise(level, SURROUND_SIGMA, dips.scatter_frac))
        _enter(label, snr, dips, level)
        if level + 1 < n_levels:
            layer = layer.pooled(dips.found)
    if valid is not None:
        label[~valid] = 0
    height, width = flat.contrast.shape
    return Search(label, snr, tuple(scale_noise), (height, width))


def _scale_noise(level: int, surround_sigma: float, scatter_frac: float) -> ScaleNoise:
    side = SQUARE**level
    return ScaleNoise(
        sigma_cell=LEVEL_SIGMA * side,
        surround_cell=surround_sigma * side,
        scatter_frac=scatter_frac,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dips:
    """What one level found.

    Parameters
    ----------
    found : (h, w) bool
    is_fine : (h, w) bool or None
        Where it was the finest filter that found it.
    snr : (h, w) float32
    scatter_frac : float
        Scatter of the level's filter, median over the frame.
    fine_scatter_frac : float
        The same of the finest filter, where it took part.
    """

    found: NDArray[np.bool_]
    is_fine: NDArray[np.bool_] | None
    snr: NDArray[np.float32]
    scatter_frac: float
    fine_scatter_frac: float = 0.0


def _enter(label: NDArray[np.int32], snr: NDArray[np.float32], dips: Dips, level: int) -> None:
    """Write what a level found into the maps of all levels; it is few cells of many."""
    side = SQUARE ** (level - 1)
    rows, cols = np.nonzero(dips.found)
    scores = dips.snr[rows, cols]
    numbers = np.full(len(rows), level + 1, np.int32)
    if dips.is_fine is not None:
        numbers[dips.is_fine[rows, cols]] = level
    for down in range(side):
        for right in range(side):
            there = rows * side + down, cols * side + right
            inside = (there[0] < label.shape[0]) & (there[1] < label.shape[1])
            cells = there[0][inside], there[1][inside]
            label[cells] = np.where(label[cells] == 0, numbers[inside], label[cells])
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

    def lowest(self, settings: DetectSettings) -> NDArray[np.float32] | np.float32:
        """Return the smallest depth of an answer that is followed up."""
        floor = np.float32(settings.depth_min_frac)
        return floor if self.floor_frac is None else np.maximum(self.floor_frac, floor)

    @classmethod
    def of_squares(cls, flat: FlatFrame, mean: NDArray[np.float32]) -> Layer:
        """Return what the squares of a frame show, from their mean contrast."""
        return cls(
            plane=mean,
            noise_frac=_of_squares(flat.noise_frac) * np.float32(1 / SQUARE),
            floor_frac=None if flat.floor_frac is None else _of_squares(flat.floor_frac),
            valid=None if flat.valid.all() else _all_of_squares(flat.valid),
        )

    def pooled(self, found: NDArray[np.bool_]) -> Layer:
        """Return the next coarser layer, with what was found filled in."""
        plane = self.plane.copy()
        plane[_with_neighbours(found)] = 0
        return Layer(
            plane=pool(plane),
            noise_frac=pool(self.noise_frac) * np.float32(1 / SQUARE),
            floor_frac=None if self.floor_frac is None else pool(self.floor_frac),
            valid=None if self.valid is None else _all_of_squares(self.valid),
        )


def _of_squares(smooth_plane: Windows) -> NDArray[np.float32]:
    """Return a smooth plane by squares: one of their cells tells all that it has to tell."""
    return smooth_plane[::SQUARE, ::SQUARE]


def _all_of_squares(valid: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which squares count, those with all of their cells."""
    height, width = valid.shape
    even = np.pad(valid, ((0, height % 2), (0, width % 2)), mode="edge")
    rows = even[::2] & even[1::2]
    return np.asarray(rows[:, ::2] & rows[:, 1::2], dtype=np.bool_)


def find_dips(
    layer: Layer, settings: DetectSettings, usual_sigma_cell: float, squares: Squares | None
) -> Dips:
    """Find all dips at one level, and with `squares` those of the finest as well."""
    is_coded = layer.floor_frac is not None
    lowest = layer.lowest(settings)
    bound = np.maximum(KEEP_SIGMAS * layer.noise_frac, KEEP_FLOORS * lowest)
    calm = np.clip(layer.plane, -bound, KEEP_BRIGHT * bound)
    surround = surround_of(calm)
    soft = smooth_fine(calm)
    asked = Asked(
        depth_frac=lowest,
        snr=settings.snr_min * (CODED_STRICTNESS if is_coded else 1.0),
        valid=layer.valid,
    )
    score = surround - soft
    scatter = measure_scatter(score, LEVEL_SIGMA, valid=layer.valid, is_coded=is_coded)
    is_wide = usual_sigma_cell < LEVEL_SIGMA
    answers = asked.of(score, scatter, is_wide=is_wide)
    fine = None
    if squares is not None:
        sample = squares.sample - surround[::SAMPLE, ::SAMPLE]
        fine_scatter = scatter_of_sample(
            sample, surround.shape, valid=layer.valid, is_coded=is_coded
        )
        fine = asked.of(surround - squares.darkest, fine_scatter)
    found, is_fine = answers.seeds, None
    if found.any() or (fine is not None and fine.seeds.any()):
        depth = wide_level_of(calm) - soft
        scale = measure_scatter(depth, LEVEL_SIGMA, valid=layer.valid)
        # Where contrast was cut for the filter, the plane itself tells the depth.
        cut = np.flatnonzero(layer.plane < -bound)
        depth.flat[cut] = np.maximum(depth.flat[cut], -layer.plane.flat[cut])
        low = (answers.snr > settings.snr_grow) | (depth * scale.inverse > GROW_SIGMAS)
        found, is_fine = grow(answers.seeds, None if fine is None else fine.seeds, low, depth)
    return Dips(
        found=found,
        is_fine=is_fine,
        snr=answers.snr if fine is None else np.maximum(answers.snr, fine.snr),
        scatter_frac=scatter.median_frac,
        fine_scatter_frac=0.0 if fine is None else fine_scatter.median_frac,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answers:
    """How strongly a filter answered, in sigmas, and where that is enough for a mark."""

    snr: NDArray[np.float32]
    seeds: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What is asked of an answer: a depth, a significance, and a place that counts."""

    depth_frac: NDArray[np.float32] | np.float32
    snr: float
    valid: NDArray[np.bool_] | None

    def of(self, score: NDArray[np.float32], scatter: Scatter, *, is_wide: bool = False) -> Answers:
        """Judge a filter's answers, which are used up; more is asked of wide ones."""
        seeds = score > self.depth_frac
        score *= scatter.inverse
        if is_wide:
            score *= np.float32(1 / WIDE_STRICTNESS)
            _discount_borders(score, LEVEL_SIGMA)
        seeds &= score > self.snr
        if self.valid is not None:
            seeds &= self.valid
        return Answers(snr=score, seeds=seeds)


def _discount_borders(score: NDArray[np.float32], sigma_cell: float) -> None:
    """Lower the score of wide dips along the borders, where structure is cut open."""
    depth = max(1, round(STRIP_SIGMAS * sigma_cell))
    share = np.float32(1 / BORDER_STRICTNESS)
    score[:depth] *= share
    score[-depth:] *= share
    score[depth:-depth, :depth] *= share
    score[depth:-depth, -depth:] *= share
