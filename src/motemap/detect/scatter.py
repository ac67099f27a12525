"""The local scatter of a filter's answers: what a dip of this width is measured against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.response import border_factors
from motemap.filters import running_median
from motemap.mesh import (
    SIGMA_PER_MAD,
    box_statistic,
    fill_gaps,
    median_of_rows,
    scatter_of_rows,
    spline_matrix,
    straight_between,
)
from motemap.planes import Surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.planes import Window
    from motemap.records import Windows

BOX_SIGMAS = 24
"""Side of the box in which scatter is measured, over the filter's sigma ..."""
BOX_MIN_CELLS = 40
"""... but of so many cells at least, for enough of them to tell a scatter."""
SILENT_SHARE = 0.2
"""A box that scatters less than this share of the median of all says nothing: blank, or one
code."""
NEIGHBOUR_SHARE, NEIGHBOUR_BOXES = 0.7, 3
"""No box may scatter less than this share of the median of so many a side round it: one that happens
to lie on a smooth patch would let its own noise through."""
STRIP_SIGMAS = 2.5
"""Depth of the strips along the borders, over the filter's sigma."""
MOST_SHARE, SIGMAS_OF_MOST = 0.8, 1.2816
"""Normal distribution: 80 % lie within so many standard deviations."""
LOOKS_PER_BOX = 4
"""Places along the side of a box at which its evenness is looked at."""
ONE_SIGMA_LOW = 15.87
"""Normal distribution: so many percent lie more than one standard deviation below the mean."""
SAMPLE_BOX_CELLS = 20
"""Side of the box in which the finest filter's scatter is measured, in cells of its sample."""
SAMPLE = 2
"""Squares that a cell of that sample stands for, along each side."""
SMALLEST_SCATTER = np.float32(1e-7)
"""A frame without any noise is taken to scatter by this: about the last digit of a float32."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rims:
    """What the scatter along the four borders allows, one over the standard deviation.

    Parameters
    ----------
    depth : int
        Lines along each border that it holds for.
    top, bottom : (W,) float32
    left, right : (H,) float32
    """

    depth: int
    top: NDArray[np.float32]
    bottom: NDArray[np.float32]
    left: NDArray[np.float32]
    right: NDArray[np.float32]

    def lower(
        self,
        inverse: NDArray[np.float32],
        rows: NDArray[np.intp],
        cols: NDArray[np.intp],
    ) -> None:
        """Lower the values of single cells, in place, where they lie along a border."""
        height, width = len(self.left), len(self.top)
        for line, is_along, place in (
            (self.top, rows < self.depth, cols),
            (self.bottom, rows >= height - self.depth, cols),
            (self.left, cols < self.depth, rows),
            (self.right, cols >= width - self.depth, rows),
        ):
            inverse[is_along] = np.minimum(inverse[is_along], line[place[is_along]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scatter:
    """Local standard deviation of a filter's answers.

    Parameters
    ----------
    inside : (H, W) Surface
        One over the standard deviation.
    rims : Rims or None
        Bounds of it along the borders; None where the plane is too small for any.
    median_frac : float
        Median over the frame of the standard deviation.
    box_cell : int
        Side of the boxes that it was measured in [cells].
    """

    inside: Surface
    rims: Rims | None
    median_frac: float
    box_cell: int

    @property
    def uneven_frac(self) -> float:
        """How uneven it is, and how well so few cells tell it.

        Half of what the middle two thirds of it span over the frame, over its median.
        """
        first, step = self.box_cell // (2 * LOOKS_PER_BOX), max(1, self.box_cell // LOOKS_PER_BOX)
        rows, cols = (slice(min(first, n_cells - 1), None, step) for n_cells in self.inside.shape)
        shares = (ONE_SIGMA_LOW, 50, 100 - ONE_SIGMA_LOW)
        low, middle, high = np.percentile(self.inside[rows, cols], shares)
        return float((high - low) / (2 * middle))

    def inverse_at(self, rows: NDArray[np.intp], cols: NDArray[np.intp]) -> NDArray[np.float32]:
        """Return one over the standard deviation at single cells, borders allowed for, (n,)."""
        inverse = self.inside.at(rows, cols)
        if self.rims is not None:
            self.rims.lower(inverse, rows, cols)
        return inverse

    def most_along(self, rows: slice) -> NDArray[np.float32]:
        """Return what one over the standard deviation does not exceed in some rows, (W,)."""
        # No weight is below 0, and borders only lower it.
        down = self.inside.down[rows]
        boxes = self.inside.lines[down.any(axis=0)].max(axis=0)
        most: NDArray[np.float32] = boxes * down.sum(axis=1).max()
        return most


def measure_scatter(
    response: Windows,
    sigma_cell: float,
    *,
    valid: NDArray[np.bool_] | None = None,
    is_coded: bool = False,
) -> Scatter:
    """Measure the scatter of a response, box by box, and along the borders strip by strip.

    Along a border a filter sees less and the background is known less well, so that strips
    there have a scatter of their own.

    Parameters
    ----------
    response : (H, W) float32
    sigma_cell : float
        Sigma of the filter's narrow Gaussian [cells].
    valid : (H, W) bool, optional
        Cells that count; all of them when left out. The blank rest would make its
        neighbourhood look calm, and noise there a mark.
    is_coded : bool
        Whether the picture has few codes. Between two codes most cells then agree and a few
        do not, so that a median deviation of 0 would hide them.
    """
    box = max(BOX_MIN_CELLS, round(BOX_SIGMAS * sigma_cell))
    mesh = _mesh(response, box, stride=2, valid=valid, is_coded=is_coded)
    bases = [
        np.divide(spline_matrix(n_cells, box, 1), border_factors(n_cells, sigma_cell)[:, None])
        for n_cells in response.shape
    ]
    inside = Surface.of_bases(bases[0], np.reciprocal(mesh), bases[1])
    return Scatter(
        inside=inside,
        rims=_measure_rims(response, sigma_cell, valid),
        median_frac=float(np.median(mesh)),
        box_cell=box,
    )


def scatter_of_sample(
    sample: NDArray[np.float32],
    shape: tuple[int, ...],
    *,
    valid: NDArray[np.bool_] | None = None,
    is_coded: bool = False,
) -> Scatter:
    """Measure the scatter of the finest filter, of which every second square shows a sample.

    Parameters
    ----------
    sample : (h / 2, w / 2) float32
        Its answers.
    shape : (int, int)
        Rows and columns of squares, (h, w).
    valid : (h, w) bool, optional
        Squares that count, as in `measure_scatter`.
    is_coded : bool
        As in `measure_scatter`.
    """
    seen = None if valid is None else valid[::SAMPLE, ::SAMPLE]
    mesh = _mesh(sample, SAMPLE_BOX_CELLS, stride=1, valid=seen, is_coded=is_coded)
    bases = [
        np.repeat(spline_matrix(n_sampled, SAMPLE_BOX_CELLS, 1), SAMPLE, axis=0)[:n_squares]
        for n_sampled, n_squares in zip(sample.shape, shape, strict=True)
    ]
    inside = Surface.of_bases(bases[0], np.reciprocal(mesh), bases[1])
    return Scatter(
        inside=inside,
        rims=_measure_rims(sample, 1.0, seen, SAMPLE, shape),
        median_frac=float(np.median(mesh)),
        box_cell=SAMPLE * SAMPLE_BOX_CELLS,
    )


def _measure_rims(
    response: Windows,
    sigma_cell: float,
    valid: NDArray[np.bool_] | None,
    apart: int = 1,
    shape: tuple[int, ...] | None = None,
) -> Rims | None:
    """Measure the scatter along the borders.

    Parameters
    ----------
    response : (H / apart, W / apart) float32
    sigma_cell : float
    valid : (H / apart, W / apart) bool or None
    apart : int
        Lines of the plane that one of `response` stands for.
    shape : (int, int), optional
        The plane's rows and columns where they are not those of `response`.
    """
    depth = max(2, round(STRIP_SIGMAS * sigma_cell))
    if 2 * depth >= min(response.shape):
        return None
    height, width = shape or response.shape
    length = max(4 * depth, BOX_MIN_CELLS, round(2 * BOX_SIGMAS * sigma_cell))

    def along(window: Window, n_lines: int, *, is_upright: bool) -> NDArray[np.float32]:
        strip = np.abs(response[window])
        if valid is not None:
            strip = np.where(valid[window], strip, np.float32(np.nan))
        allowed = _allowed_along(strip.T if is_upright else strip, length)
        return np.repeat(allowed, apart)[:n_lines]

    first, last, everything = slice(depth), slice(-depth, None), slice(None)
    return Rims(
        depth=depth * apart,
        top=along((first, everything), width, is_upright=False),
        bottom=along((last, everything), width, is_upright=False),
        left=along((everything, first), height, is_upright=True),
        right=along((everything, last), height, is_upright=True),
    )


def _allowed_along(strip: NDArray[np.float32], length: int) -> NDArray[np.float32]:
    """Return one over the standard deviation along a strip of absolute answers, NaN left out."""
    boxes = box_statistic(strip, length, median_of_rows)
    # A strip left blank has no scatter of its own to add.
    level = np.maximum(SIGMA_PER_MAD * np.nan_to_num(boxes).max(axis=0), SMALLEST_SCATTER)
    return straight_between(1 / level, strip.shape[1], length)


def _mesh(
    response: Windows,
    box: int,
    *,
    stride: int,
    valid: NDArray[np.bool_] | None,
    is_coded: bool,
) -> NDArray[np.float32]:
    """Return the scatter of every box, none of them too small to be believed."""
    statistic = coded_scatter_of_rows if is_coded else scatter_of_rows
    mesh = box_statistic(response, box, statistic, stride=stride, valid=valid)
    # A box that hardly scatters lies in a part left blank, or on a plateau of one code; its
    # neighbours tell what a real dip there has to stand out from.
    known = mesh[~np.isnan(mesh)]
    if known.size:
        mesh[mesh < SILENT_SHARE * np.median(known)] = np.nan
    mesh = fill_gaps(mesh)
    if min(mesh.shape) > 1:
        mesh = np.maximum(mesh, NEIGHBOUR_SHARE * running_median(mesh, NEIGHBOUR_BOXES))
    return np.asarray(np.maximum(np.nan_to_num(mesh), SMALLEST_SCATTER), dtype=np.float32)


def coded_scatter_of_rows(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the larger of two robust standard deviations of each row, from 50 % and from 80 %."""
    ordered = np.sort(np.abs(values - median_of_rows(values)[:, None]), axis=1)
    n_known = np.count_nonzero(~np.isnan(ordered), axis=1)
    rows = np.arange(len(ordered))
    at_half = ordered[rows, n_known // 2 - (n_known == 0)]
    at_most = ordered[rows, (MOST_SHARE * n_known).astype(int) - (n_known == 0)]
    scatter = np.maximum(SIGMA_PER_MAD * at_half, at_most / SIGMAS_OF_MOST)
    return np.asarray(scatter, dtype=np.float32)
