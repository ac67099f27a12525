"""How deep a mark is along most of itself, however much deeper it is at one place.

Where a fibre crosses itself, or carries a speck, its shadow is twice as deep as along the rest.
Half of that depth runs along the top of all other of it: neither its width nor its length could be
told by it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.distances import largest_near

if TYPE_CHECKING:
    from numpy.typing import NDArray

REACH_OF_THICKNESS = 0.75
"""So near to nearly every cell of a mark lies its ridge; and to those of a compact mark, its peak."""
MOST = 0.75
"""Share of a mark that is as deep as its ridge: a loop with short ends lies within reach of its
crossing by half."""


def ridge_depths(
    soft: NDArray[np.float32], mine: NDArray[np.bool_], thickness_cell: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return the depth that most of each mark's cells have within reach, (n,).

    For a compact mark that is its peak.

    Parameters
    ----------
    soft : (n, h, w) float32
        Smoothed depth.
    mine : (n, h, w) bool
        Cells of each mark.
    thickness_cell : (n,) float32
    """
    depth = np.where(mine, soft, np.float32(-np.inf))
    n_marks, _, width = depth.shape
    at_peak = depth.reshape(n_marks, -1).argmax(axis=1)
    ridge: NDArray[np.float32] = depth.reshape(n_marks, -1)[np.arange(n_marks), at_peak]
    reach = np.maximum(np.rint(REACH_OF_THICKNESS * thickness_cell), 1).astype(np.intp)
    row, col = np.divmod(at_peak, width)
    near_rows, near_cols = (
        np.abs(np.arange(n_cells) - at[:, None]) <= reach[:, None]
        for n_cells, at in zip(mine.shape[1:], (row, col), strict=True)
    )
    n_near = np.count_nonzero(mine & near_rows[:, :, None] & near_cols[:, None, :], axis=(1, 2))
    is_long = n_near < MOST * np.count_nonzero(mine, axis=(1, 2))
    for one in np.flatnonzero(is_long).tolist():
        reached = largest_near(depth[one], int(reach[one]))
        ridge[one] = np.quantile(reached[mine[one]], 1 - MOST)
    return ridge
