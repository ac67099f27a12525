"""Part what touches: one region for every centre that stands clear of its neighbours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.detect.flood import share_out
from motemap.filters import BORDER_MODE, label_pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

SADDLE_OF_PEAK = 0.72
"""Two peaks are two marks when the way between them falls below this share of the lower."""
SADDLE_SIGMAS = 4.0
"""... and when that fall is so many times the scatter of the depth map."""
SLIVER_OF_THICKNESS = 0.3
"""A part thinner than this share of the whole region is no mark of its own."""


def separate_peaks(
    depth: NDArray[np.float32], inside: NDArray[np.bool_], scatter: float
) -> list[tuple[int, int]]:
    """Find the peaks of one connected region that count as marks of their own.

    Parameters
    ----------
    depth : (h, w) float32
        Smoothed depth, positive where darker.
    inside : (h, w) bool
        The region.
    scatter : float
        Standard deviation of `depth`.

    Returns
    -------
    list of (row, col)
        Deepest first; never empty.
    """
    held = np.where(inside, depth, -np.inf)
    top = (held == ndimage.maximum_filter(held, 3, mode=BORDER_MODE)) & inside
    rows, cols = np.nonzero(top)
    order = np.argsort(-held[rows, cols], kind="stable")
    peaks = [(int(rows[i]), int(cols[i])) for i in order]
    kept = peaks[:1]
    for peak in peaks[1:]:
        height = float(held[peak])
        saddle = min(SADDLE_OF_PEAK * height, height - SADDLE_SIGMAS * scatter)
        if saddle <= 0:
            continue
        islands = label_pieces(held > saddle)
        mine = islands[peak]
        if not any(islands[other] == mine for other in kept):
            kept.append(peak)
    return kept


def part_marks(
    depth: NDArray[np.float32], inside: NDArray[np.bool_], scatter: float
) -> NDArray[np.int32]:
    """Part a connected region into its marks; slivers fall back to their neighbours.

    Parameters
    ----------
    depth : (h, w) float32
        Smoothed depth, positive where darker.
    inside : (h, w) bool
        The region.
    scatter : float
        Standard deviation of `depth`.

    Returns
    -------
    (h, w) int32
        0 outside, numbers from 1 inside.
    """
    peaks = separate_peaks(depth, inside, scatter)
    shares = share_out(depth, inside, peaks)
    if len(peaks) == 1:
        return shares
    least = SLIVER_OF_THICKNESS * _thickness(inside)
    kept = [peak for index, peak in enumerate(peaks) if _thickness(shares == index + 1) >= least]
    return shares if len(kept) == len(peaks) else share_out(depth, inside, kept or peaks[:1])


def _thickness(mask: NDArray[np.bool_]) -> float:
    return float(ndimage.distance_transform_edt(np.pad(mask, 1)).max())


def share_by_distance(
    inside: NDArray[np.bool_], centres: list[tuple[int, int]]
) -> NDArray[np.int32]:
    """Give every cell of a region to the nearest of several centres.

    Returns
    -------
    (h, w) int32
        0 outside, 1 + index of the centre inside.
    """
    rows, cols = np.nonzero(inside)
    places = np.array(centres)
    away = (rows[:, None] - places[:, 0]) ** 2 + (cols[:, None] - places[:, 1]) ** 2
    shares = np.zeros(inside.shape, np.int32)
    shares[rows, cols] = away.argmin(axis=1) + 1
    return shares
