"""Part what touches: one region for every centre that stands clear of its neighbours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.flood import share_out
from motemap.distances import inner_radius
from motemap.filters import highest_nearby
from motemap.masks import label_pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

SADDLE_OF_PEAK = 0.72
"""Two peaks are two marks when the way between them falls below this share of the lower."""
SADDLE_SIGMAS = 4.0
"""... and when that fall is so many times the scatter of the depth map."""
SLIVER_OF_THICKNESS = 0.3
"""A part thinner than this share of the whole region is no mark of its own."""
NEXT_SIDE = 3
"""Side of the square that holds a cell and its neighbours."""


def have_rivals(
    depth: NDArray[np.float32], inside: NDArray[np.bool_], scatter: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Tell which regions may hold more than one peak; `separate_peaks` finds one in the others.

    Parameters
    ----------
    depth : (n, h, w) float32
    inside : (n, h, w) bool
        One region a map.
    scatter : (n,) float64

    Returns
    -------
    (n,) bool
    """
    is_high = depth > np.maximum(SADDLE_SIGMAS * scatter, 0.0)[:, None, None]
    n_peaks = np.count_nonzero(_tops(depth, inside) & is_high, axis=(1, 2))
    return np.asarray(n_peaks > 1)


def _tops(depth: NDArray[np.float32], inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the cells of regions, (n, h, w), that no neighbour is deeper than."""
    held = np.where(inside, depth, np.float32(-np.inf))
    top = inside & (held == highest_nearby(held, NEXT_SIDE))
    return np.asarray(top, dtype=np.bool_)


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
    rows, cols = np.nonzero(_tops(depth[None], inside[None])[0])
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
    least = SLIVER_OF_THICKNESS * inner_radius(inside)
    kept = [peak for index, peak in enumerate(peaks) if inner_radius(shares == index + 1) >= least]
    return shares if len(kept) == len(peaks) else share_out(depth, inside, kept or peaks[:1])
