"""The local scatter of a filter's answers: what a dip of this width is measured against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.detect.response import border_factors
from motemap.mesh import (
    SIGMA_PER_MAD,
    box_statistic,
    fill_gaps,
    median_of_rows,
    scatter_of_rows,
    spline_matrix,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

BOX_SIGMAS = 24
"""Side of the box in which scatter is measured, over the filter's sigma."""
BOX_MIN_CELLS = 40
SILENT_SHARE = 0.2
NEIGHBOUR_SHARE = 0.7
"""No box may scatter less than this share of the median of its neighbours: one that happens
to lie on a smooth patch would let its own noise through."""
STRIP_SIGMAS = 2.5
"""Depth of the strips along the borders, over the filter's sigma."""
MOST_SHARE, SIGMAS_OF_MOST = 0.8, 1.2816
"""Normal distribution: 80 % lie within so many standard deviations."""
SAMPLE_BOX_CELLS = 20
"""Side of the box in which the finest filter's scatter is measured, in cells of its sample."""
SAMPLE = 2
"""Squares that a cell of that sample stands for, along each side."""
SMALLEST_SCATTER = np.float32(1e-7)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scatter:
    """Local standard deviation of a filter's answers.

    Parameters
    ----------
    inverse : (H, W) float32
        One over the standard deviation, borders allowed for.
    median_frac : float
        Median over the frame of the standard deviation.
    """

    inverse: NDArray[np.float32]
    median_frac: float


def measure_scatter(
    response: NDArray[np.float32],
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
    height, width = response.shape
    down, across = border_factors(height, sigma_cell), border_factors(width, sigma_cell)
    rows = spline_matrix(height, box, 1) / down[:, None]
    cols = spline_matrix(width, box, 1) / across[:, None]
    inverse = (rows @ (1 / mesh)) @ cols.T
    counted = response if valid is None else np.where(valid, response, np.float32(np.nan))
    _lower_along_borders(inverse, counted, sigma_cell)
    _lower_along_borders(inverse.T, counted.T, sigma_cell)
    return Scatter(inverse=inverse, median_frac=float(np.median(mesh)))


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
    if valid is not None:
        sample = np.where(valid[::SAMPLE, ::SAMPLE], sample, np.float32(np.nan))
    mesh = _mesh(sample, SAMPLE_BOX_CELLS, stride=1, valid=None, is_coded=is_coded)
    rows, cols = (
        np.repeat(spline_matrix(n_sampled, SAMPLE_BOX_CELLS, 1), 2, axis=0)[:n_squares]
        for n_sampled, n_squares in zip(sample.shape, shape, strict=True)
    )
    inverse = ((rows @ (1 / mesh)) @ cols.T).astype(np.float32)
    _lower_along_borders(inverse, sample, 1.0, SAMPLE)
    _lower_along_borders(inverse.T, sample.T, 1.0, SAMPLE)
    return Scatter(inverse=inverse, median_frac=float(np.median(mesh)))


def _mesh(
    response: NDArray[np.float32],
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
        mesh = np.maximum(mesh, NEIGHBOUR_SHARE * ndimage.median_filter(mesh, 3, mode="nearest"))
    return np.asarray(np.maximum(np.nan_to_num(mesh), SMALLEST_SCATTER), dtype=np.float32)


def coded_scatter_of_rows(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the larger of two robust standard deviations of each row, from 50 % and from 80 %."""
    deviation = np.abs(values - median_of_rows(values)[:, None])
    if np.isnan(deviation).any():
        ordered = np.sort(deviation, axis=1)
        n_known = np.count_nonzero(~np.isnan(ordered), axis=1)
    else:
        half, most = values.shape[1] // 2, int(MOST_SHARE * values.shape[1])
        ordered = np.partition(deviation, (half, most), axis=1)
        n_known = np.full(len(ordered), values.shape[1])
    rows = np.arange(len(ordered))
    at_half = ordered[rows, n_known // 2 - (n_known == 0)]
    at_most = ordered[rows, (MOST_SHARE * n_known).astype(int) - (n_known == 0)]
    scatter = np.maximum(SIGMA_PER_MAD * at_half, at_most / SIGMAS_OF_MOST)
    return np.asarray(scatter, dtype=np.float32)


def _lower_along_borders(
    inverse: NDArray[np.float32],
    response: NDArray[np.float32],
    sigma_cell: float,
    apart: int = 1,
) -> None:
    """Lower what the scatter allows along the upper and the lower border, where it is larger.

    Parameters
    ----------
    inverse : (H, W) float32
        Changed in place.
    response : (H / apart, W / apart) float32
        NaN where it does not count.
    sigma_cell : float
    apart : int
        Cells of `inverse` that one of `response` stands for.
    """
    depth = max(2, round(STRIP_SIGMAS * sigma_cell))
    length = max(4 * depth, BOX_MIN_CELLS, round(2 * BOX_SIGMAS * sigma_cell))
    if 2 * depth >= response.shape[0]:
        return
    for is_last in (False, True):
        rows = slice(-depth, None) if is_last else slice(depth)
        wide = slice(-depth * apart, None) if is_last else slice(depth * apart)
        boxes = box_statistic(np.abs(response[rows]), length, median_of_rows)
        # A strip left blank has no scatter of its own to add.
        level = np.maximum(SIGMA_PER_MAD * np.nan_to_num(boxes).max(axis=0), SMALLEST_SCATTER)
        along = spline_matrix(response.shape[1], length, 1) @ (1 / level).astype(np.float32)
        along = np.repeat(along, apart)[: inverse.shape[1]]
        np.minimum(inverse[wide], along[None, :], out=inverse[wide])
