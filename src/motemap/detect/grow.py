"""Follow each seed to where its mark ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.masks import grown, label_cells

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

GROW_SIGMAS = 2.5
"""A mark is followed to where its depth sinks below so many sigmas ..."""
GROW_OF_PEAK = 0.18
"""... or below this share of its deepest place."""
FINE_REACH = 2
"""Cells from a seed of the finest filter that belong to the narrow mark that it found."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Cells that stand out from the scatter, in reading order.

    Parameters
    ----------
    cells : (n,) int
        Number of each cell, counted along the rows.
    depth_frac, snr : (n,) float32
        Depth against a wide mean, and significance.
    is_seed, is_fine_seed : (n,) bool
        Whether that is enough for a mark, by the level's own filter and by the finest one.
    """

    cells: NDArray[np.intp]
    depth_frac: NDArray[np.float32]
    snr: NDArray[np.float32]
    is_seed: NDArray[np.bool_]
    is_fine_seed: NDArray[np.bool_]

    @classmethod
    def joined(cls, parts: Sequence[Candidates]) -> Candidates:
        """Join those of strips that follow one another."""
        return cls(
            cells=np.concatenate([part.cells for part in parts]),
            depth_frac=np.concatenate([part.depth_frac for part in parts]),
            snr=np.concatenate([part.snr for part in parts]),
            is_seed=np.concatenate([part.is_seed for part in parts]),
            is_fine_seed=np.concatenate([part.is_fine_seed for part in parts]),
        )


def grow(
    candidates: Candidates, shape: tuple[int, ...]
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Follow each seed to where its depth sinks into the scatter or to a share of its peak.

    Depth is against a wide mean, not against the background: a mark inside a soft shadow must
    not take the shadow with it. What is wider still comes back at the next level and joins.

    Parameters
    ----------
    candidates : Candidates
    shape : (int, int)
        Rows and columns of the plane.

    Returns
    -------
    kept : (n,) int
        Which candidates belong to a mark.
    is_fine : (n,) bool
        Whether the finest filter found it there.
    """
    is_seed = candidates.is_seed | candidates.is_fine_seed
    if not is_seed.any():
        return np.empty(0, np.intp), np.empty(0, np.bool_)
    owner = label_cells(candidates.cells, shape[1]) - 1
    n_pieces = int(owner.max()) + 1
    peak = np.full(n_pieces, -np.inf, np.float32)
    np.maximum.at(peak, owner, candidates.depth_frac)
    has_seed = np.bincount(owner[is_seed], minlength=n_pieces) > 0
    is_deep = candidates.depth_frac > GROW_OF_PEAK * peak[owner]
    kept = np.flatnonzero(has_seed[owner] & (is_deep | is_seed))
    is_near = np.zeros(shape, np.bool_)
    is_near.reshape(-1)[candidates.cells[candidates.is_fine_seed]] = True
    is_near = grown(is_near, FINE_REACH, by_corners=True)
    return kept, is_near.ravel()[candidates.cells[kept]]
