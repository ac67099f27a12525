"""Share a region out among its peaks, by flooding from the peaks down.

Every cell climbs to its deepest neighbour until it stands on a summit; a summit that is no peak
is taken in across its highest pass. scipy's ``watershed_ift`` does not do this: it floods by the
steps between neighbours, not by depth, and gives the flanks of one mark to another.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEPS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
"""From a cell to its eight neighbours, row and column."""


def share_out(
    depth: NDArray[np.float32], inside: NDArray[np.bool_], peaks: list[tuple[int, int]]
) -> NDArray[np.int32]:
    """Give every cell of a region to one of its peaks.

    Parameters
    ----------
    depth : (h, w) float32
        Positive where darker.
    inside : (h, w) bool
        The region, connected.
    peaks : list of (row, col)
        Local maxima of `depth` inside the region.

    Returns
    -------
    (h, w) int32
        0 outside, 1 + index of the peak inside.
    """
    if len(peaks) == 1:
        return inside.astype(np.int32)
    width = depth.shape[1] + 2
    held = np.pad(np.where(inside, depth, -np.inf), 1, constant_values=-np.inf)
    summit = _climb(held)
    owner = {(row + 1) * width + col + 1: index + 1 for index, (row, col) in enumerate(peaks)}
    numbers = _take_in(held, summit, owner)
    return np.where(inside, numbers[summit][1:-1, 1:-1], 0).astype(np.int32)


def _shifted(height: int, width: int, step: tuple[int, int]) -> tuple[slice, slice]:
    """Return where the neighbours in one direction of all cells but the rim lie."""
    return (slice(1 + step[0], height - 1 + step[0]), slice(1 + step[1], width - 1 + step[1]))


def _climb(held: NDArray[np.floating]) -> NDArray[np.intp]:
    """Return for every cell the flat index of the summit that the steepest way up leads to."""
    height, width = held.shape
    index = np.arange(held.size).reshape(held.shape)
    target = index.copy()
    best = held[1:-1, 1:-1].copy()
    for step in STEPS:
        near = _shifted(height, width, step)
        is_higher = held[near] > best
        best[is_higher] = held[near][is_higher]
        target[1:-1, 1:-1][is_higher] = index[near][is_higher]
    flat = target.ravel()
    while not np.array_equal(flat, flat[flat]):
        flat = flat[flat]
    return flat.reshape(held.shape)


def _take_in(
    held: NDArray[np.floating], summit: NDArray[np.intp], owner: dict[int, int]
) -> NDArray[np.int32]:
    """Join summits without an owner to others, highest pass first; return owners by index."""
    leader = {int(top): int(top) for top in np.unique(summit[np.isfinite(held)])}
    number = dict(owner)

    def lead(top: int) -> int:
        while leader[top] != top:
            leader[top] = leader[leader[top]]
            top = leader[top]
        return top

    for one, other in _passes(held, summit):
        low, high = lead(one), lead(other)
        if low != high and not (low in number and high in number):
            leader[low] = high
            if low in number:
                number[high] = number[low]
    numbers = np.zeros(held.size, np.int32)
    for top in leader:
        numbers[top] = number.get(lead(top), 0)
    return numbers


def _passes(held: NDArray[np.floating], summit: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Return the pairs of summits whose grounds touch, one a touching pair of cells, by height."""
    height, width = held.shape
    pairs, heights = [], []
    for step in STEPS[4:]:
        near = _shifted(height, width, step)
        level = np.minimum(held[1:-1, 1:-1], held[near])
        touch = np.isfinite(level) & (summit[1:-1, 1:-1] != summit[near])
        pairs.append(np.stack([summit[1:-1, 1:-1][touch], summit[near][touch]], axis=1))
        heights.append(level[touch])
    order = np.argsort(-np.concatenate(heights), kind="stable")
    return [(int(one), int(other)) for one, other in np.concatenate(pairs)[order]]
