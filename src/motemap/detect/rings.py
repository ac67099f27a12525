"""Join the arcs of a ring: what is left of the dark rim of a drop that gathers light in its middle.

Where the rim of a small clear drop is uneven, its arcs come out as marks of their own, on two sides
of a bright place.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import Cells
from motemap.records import Region

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame

FARTHEST_CELLS = 14.0
"""Arcs whose middles lie farther apart belong to a ring that is found whole."""
BRIGHT_OF_DEPTH = 0.4
"""The middle is brighter than the field by this share of the arcs' depth; the bright fringes of two
specks side by side add up to a tenth."""


def join_rings(flat: FlatFrame, regions: Sequence[Region]) -> list[Region]:
    """Join regions that lie on two sides of a bright place; the others stay as they are.

    Parameters
    ----------
    flat : FlatFrame
    regions : sequence of Region

    Returns
    -------
    list of Region
        In the order of their first members.
    """
    if not regions:
        return []
    middles = Cells.of_regions(regions).middles()
    leader = np.arange(len(regions))
    for one, other in _near_pairs(middles):
        if _is_bright_between(flat, regions[one], regions[other], middles[[one, other]]):
            first, second = sorted((leader[one], leader[other]))
            leader[leader == second] = first
    members: dict[int, list[Region]] = {}
    for region, number in zip(regions, leader.tolist(), strict=True):
        members.setdefault(number, []).append(region)
    return [group[0] if len(group) == 1 else _joined(group) for group in members.values()]


def _near_pairs(middles: NDArray[np.float64]) -> Iterator[tuple[int, int]]:
    """Yield the pairs of places that may be arcs of one ring.

    Strips as deep as these may be apart are laid end to end, so that each place is held against
    few others: those that follow in its strip, and those below it in the next. A tree would do
    as well, but to import one takes longer than to look for the rings of most frames.
    """
    reach = FARTHEST_CELLS + 1.0  # lest rounding lose a pair
    rows, cols = middles.T - middles.min(axis=0)[:, None]
    length = float(cols.max()) + 2 * reach
    place = np.floor(rows / reach) * length + cols
    order = np.argsort(place)
    along = place[order]
    below = along + length
    here = np.arange(len(along))
    for first, last in (
        (here + 1, along + reach),
        (np.searchsorted(along, below - reach), below + reach),
    ):
        n_others = np.searchsorted(along, last, side="right") - first
        one = np.repeat(here, n_others)
        other = np.arange(len(one)) + np.repeat(first - np.cumsum(n_others) + n_others, n_others)
        ends = order[one], order[other]
        apart = middles[ends[0]] - middles[ends[1]]
        is_near = np.hypot(apart[:, 0], apart[:, 1]) <= FARTHEST_CELLS
        yield from zip(*(end[is_near].tolist() for end in ends), strict=True)


def _is_bright_between(
    flat: FlatFrame, one: Region, other: Region, ends: NDArray[np.float64]
) -> bool:
    """Tell whether the way between two regions leads over a place that is bright for their depth."""
    if one.alone is not None or other.alone is not None:
        return False
    steps = np.linspace(0.0, 1.0, round(FARTHEST_CELLS))[:, None]
    rows, cols = np.rint(ends[0] + steps * (ends[1] - ends[0])).astype(int).T
    top, left = int(rows.min()), int(cols.min())
    near = flat.contrast[top : int(rows.max()) + 1, left : int(cols.max()) + 1]
    brightest = float(near[rows - top, cols - left].max())
    return brightest > BRIGHT_OF_DEPTH * max(_depth(flat, one), _depth(flat, other))


def _depth(flat: FlatFrame, region: Region) -> float:
    height, width = region.mask.shape
    window = flat.contrast[
        region.top_cell : region.top_cell + height, region.left_cell : region.left_cell + width
    ]
    return -float(window[region.mask].min())


def _joined(group: Sequence[Region]) -> Region:
    top, left = min(one.top_cell for one in group), min(one.left_cell for one in group)
    bottom = max(one.top_cell + one.mask.shape[0] for one in group)
    right = max(one.left_cell + one.mask.shape[1] for one in group)
    mask = np.zeros((bottom - top, right - left), np.bool_)
    for one in group:
        row, col = one.top_cell - top, one.left_cell - left
        mask[row : row + one.mask.shape[0], col : col + one.mask.shape[1]] |= one.mask
    clearest = max(group, key=lambda one: one.snr)
    return Region(
        top_cell=top,
        left_cell=left,
        mask=mask,
        snr=clearest.snr,
        scale_cell=clearest.scale_cell,
    )
