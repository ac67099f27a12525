"""Join the arcs of a ring: what is left of the dark rim of a drop that gathers light in its middle.

Where the rim of a small clear drop is uneven, its arcs come out as marks of their own, on two sides
of a bright place.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.distances import thicknesses
from motemap.planes import values_at

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Regions

FARTHEST_CELLS = 14.0
"""Arcs whose middles lie farther apart belong to a ring that is found whole."""
BRIGHT_OF_DEPTH = 0.4
"""The middle is brighter than the field by this share of the arcs' depth; the bright fringes of two
specks side by side add up to a tenth."""


def join_rings(flat: FlatFrame, regions: Regions) -> Regions:
    """Join regions that lie on two sides of a bright place; the others stay as they are.

    Returns
    -------
    Regions
        In the order of their first members.
    """
    if not len(regions):
        return regions
    middles = regions.cells.middles()
    leader = np.arange(len(regions))
    for one, other in _near_pairs(middles):
        if _is_bright_between(flat, regions, (one, other), middles[[one, other]]):
            first, second = sorted((leader[one], leader[other]))
            leader[leader == second] = first
    is_leader = leader == np.arange(len(regions))
    return regions if is_leader.all() else _joined(regions, leader)


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
    flat: FlatFrame, regions: Regions, pair: tuple[int, int], ends: NDArray[np.float64]
) -> bool:
    """Tell whether the way between two regions leads over a place that is bright for their depth."""
    if any(number in regions.alone for number in pair):
        return False
    steps = np.linspace(0.0, 1.0, round(FARTHEST_CELLS))[:, None]
    way = np.rint(ends[0] + steps * (ends[1] - ends[0])).astype(np.intp)
    brightest = float(values_at(flat.contrast, *way.T).max())
    return brightest > BRIGHT_OF_DEPTH * max(_depth(flat, regions, number) for number in pair)


def _depth(flat: FlatFrame, regions: Regions, number: int) -> float:
    cells = regions.cells.of_masks(np.array([number]))
    return -float(values_at(flat.contrast, cells.row, cells.col).min())


def _joined(regions: Regions, leader: NDArray[np.intp]) -> Regions:
    """Join regions with the same leader, the first of them: as clear as the clearest is."""
    group = np.unique(leader, return_inverse=True)[1]
    # Each group's clearest one, the first of several, stands for it.
    order = np.lexsort((np.arange(len(group)), -regions.snr, group))
    clearest = order[np.diff(group[order], prepend=-1) > 0]
    whole = regions.chosen(clearest)
    cells, _ = regions.cells.numbered(group[regions.cells.mask], len(clearest))
    start, stop = whole.start.copy(), whole.stop.copy()
    np.minimum.at(start, group, regions.start)
    np.maximum.at(stop, group, regions.stop)
    return replace(
        whole,
        cells=cells,
        start=start,
        stop=stop,
        thickness_cell=thicknesses(cells, start, stop),
    )
