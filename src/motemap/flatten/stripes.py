"""Row and column banding: mains light, panel dimming, read-out offsets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.mesh import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

LOOK_AT = 2048
"""Cells of a row that are looked at: a median of so many is known to 3 % of the noise."""


def remove_stripes(
    contrast: NDArray[np.float32], valid: NDArray[np.bool_]
) -> tuple[NDArray[np.float32], float]:
    """Take the median of every row, then of every column, out of the contrast.

    A median over a whole row is blind to dust, and even to a long fibre along it.

    Parameters
    ----------
    contrast : (H, W) float32
    valid : (H, W) bool

    Returns
    -------
    (H, W) float32
        The contrast without stripes.
    float
        Standard deviation of the row or the column levels, the larger.
    """
    row_level = line_levels(contrast, valid)
    flat = contrast - row_level[:, None]
    col_level = line_levels(flat.T, valid.T)
    flat -= col_level[None, :]
    return flat, max(_spread(row_level), _spread(col_level))


def line_levels(contrast: NDArray[np.float32], valid: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return the median of each row over its valid cells; 0 where there are too few."""
    stride = max(1, contrast.shape[1] // LOOK_AT)
    seen = np.ascontiguousarray(contrast[:, ::stride])
    usable = valid[:, ::stride]
    n_usable = usable.sum(axis=1)
    half = seen.shape[1] // 2
    if n_usable.min() == seen.shape[1]:
        return np.asarray(np.partition(seen, half, axis=1)[:, half], dtype=np.float32)
    ordered = np.sort(np.where(usable, seen, np.float32(np.inf)), axis=1)
    level = ordered[np.arange(len(ordered)), np.maximum(n_usable - 1, 0) // 2]
    enough = n_usable >= max(16, seen.shape[1] // 8)
    return np.where(enough, level, 0).astype(np.float32)


def _spread(levels: NDArray[np.float32]) -> float:
    """Robust standard deviation: a fall of light along an edge is no banding."""
    return float(SIGMA_PER_MAD * np.median(np.abs(levels - np.median(levels))))
