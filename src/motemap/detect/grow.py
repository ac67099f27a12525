"""Follow each seed to where its mark ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import label_pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

GROW_SIGMAS = 2.5
"""A mark is followed to where its depth sinks below so many sigmas ..."""
GROW_OF_PEAK = 0.18
"""... or below this share of its deepest place."""
FINE_REACH = 2
"""Cells from a seed of the finest filter that belong to the narrow mark that it found."""


def grow(
    seeds: NDArray[np.bool_],
    fine_seeds: NDArray[np.bool_] | None,
    low: NDArray[np.bool_],
    depth: NDArray[np.float32],
) -> tuple[NDArray[np.bool_], NDArray[np.bool_] | None]:
    """Follow each seed to where its depth sinks into the scatter or to a share of its peak.

    Depth is against a wide mean, not against the background: a mark inside a soft shadow must
    not take the shadow with it. What is wider still comes back at the next level and joins.

    Parameters
    ----------
    seeds : (H, W) bool
    fine_seeds : (H, W) bool or None
        Those of the finest filter.
    low : (H, W) bool
        Cells that stand out from the scatter.
    depth : (H, W) float32

    Returns
    -------
    found : (H, W) bool
    is_fine : (H, W) bool or None
        Those of them that the finest filter found, and their neighbourhood.
    """
    all_seeds = seeds if fine_seeds is None else seeds | fine_seeds
    low = (low & (depth > 0)) | all_seeds
    label = label_pieces(low)
    n_labels = int(label.max())
    cells = np.flatnonzero(label)
    owner = label.ravel()[cells]
    depths = depth.ravel()[cells]
    order = np.argsort(owner, kind="stable")
    starts = np.searchsorted(owner[order], np.arange(1, n_labels + 1))
    peak = np.maximum.reduceat(depths[order], starts)
    is_seed = all_seeds.ravel()[cells]
    keep = _holds(owner, is_seed, n_labels)[owner] & (
        (depths > GROW_OF_PEAK * peak[owner - 1]) | is_seed
    )
    found = _filled(cells[keep], depth.shape)
    return found, None if fine_seeds is None else found & _near(fine_seeds)


def _near(seeds: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the cells within `FINE_REACH` of a seed; seeds are few cells of many."""
    near = np.zeros(seeds.shape, bool)
    rows, cols = np.nonzero(seeds)
    height, width = seeds.shape
    steps = range(-FINE_REACH, FINE_REACH + 1)
    for down in steps:
        for right in steps:
            near[(rows + down).clip(0, height - 1), (cols + right).clip(0, width - 1)] = True
    return near


def _holds(
    owner: NDArray[np.int32], is_there: NDArray[np.bool_], n_labels: int
) -> NDArray[np.bool_]:
    """Return by label whether it holds a cell of which something is true."""
    return np.asarray(np.bincount(owner[is_there], minlength=n_labels + 1) > 0)


def _filled(cells: NDArray[np.intp], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    mask = np.zeros(shape, bool)
    mask.flat[cells] = True
    return mask
