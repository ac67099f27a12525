"""Part what touches: one region for every centre that stands clear of its neighbours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.filters import BORDER_MODE, EIGHT_NEIGHBOURS, label_pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

SADDLE_OF_PEAK = 0.72
"""Two peaks are two marks when the way between them falls below this share of the lower."""
SADDLE_SIGMAS = 4.0
"""... and when that fall is so many times the scatter of the depth map."""


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


def share_out(
    depth: NDArray[np.float32], inside: NDArray[np.bool_], peaks: list[tuple[int, int]]
) -> NDArray[np.int32]:
    """Give every cell of a region to one of its peaks, by flooding from the peaks down.

    Returns
    -------
    (h, w) int32
        0 outside, 1 + index of the peak inside.
    """
    if len(peaks) == 1:
        return inside.astype(np.int32)
    markers = np.zeros(depth.shape, np.int32)
    for index, peak in enumerate(peaks):
        markers[peak] = index + 1
    low, high = float(depth[inside].min()), float(depth[inside].max())
    scaled = (high - np.clip(depth, low, high)) * (65000.0 / max(high - low, 1e-9))
    cost = np.where(inside, scaled, 65535).astype(np.uint16)
    flooded = ndimage.watershed_ift(cost, markers, structure=EIGHT_NEIGHBOURS)
    return np.where(inside, flooded, 0).astype(np.int32)
