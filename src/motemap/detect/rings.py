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
    pairs = _near_pairs(middles)
    if not len(pairs):
        return regions
    leader = np.arange(len(regions))
    for one, other in pairs[_are_bright_between(flat, regions, pairs, middles)].tolist():
        first, second = sorted((leader[one], leader[other]))
        leader[leader == second] = first
    is_leader = leader == np.arange(len(regions))
    return regions if is_leader.all() else _joined(regions, leader)


def _near_pairs(middles: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the pairs of places that may be arcs of one ring, (m, 2).

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
    found = []
    for first, last in (
        (here + 1, along + reach),
        (np.searchsorted(along, below - reach), below + reach),
    ):
        n_others = np.searchsorted(along, last, side="right") - first
        one = np.repeat(here, n_others)
        other = np.arange(len(one)) + np.repeat(first - np.cumsum(n_others) + n_others, n_others)
        pairs = np.stack([order[one], order[other]], axis=1)
        apart = middles[pairs[:, 0]] - middles[pairs[:, 1]]
        found.append(pairs[np.hypot(apart[:, 0], apart[:, 1]) <= FARTHEST_CELLS])
    return np.concatenate(found)


def _are_bright_between(
    flat: FlatFrame, regions: Regions, pairs: NDArray[np.intp], middles: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Tell where the way between two regions leads over a place that is bright for their depth."""
    is_mixed = np.isin(pairs, list(regions.alone)).any(axis=1)
    numbers, place = np.unique(pairs, return_inverse=True)
    cells = regions.cells.of_masks(numbers)
    depth = cells.largest(-values_at(flat.contrast, cells.row, cells.col))[place.reshape(-1, 2)]
    steps = np.linspace(0.0, 1.0, round(FARTHEST_CELLS))[:, None]
    one, other = middles[pairs].transpose(1, 0, 2)[:, :, None]
    ways = np.rint(one + steps * (other - one)).astype(np.intp)
    brightest = values_at(flat.contrast, ways[..., 0], ways[..., 1]).max(axis=1)
    is_bright = brightest > BRIGHT_OF_DEPTH * depth.max(axis=1).astype(np.float64)
    return np.asarray(is_bright & ~is_mixed, dtype=np.bool_)


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
