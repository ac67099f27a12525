"""Marks that one frame tells apart and the other sees as one."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from motemap.compare.two import TwoStates
from motemap.matching import MarkTable, carry_back, carry_over


def are_parted(states: TwoStates) -> NDArray[np.bool_]:
    """Tell which pairs run together with a mark that only one of the frames has, (P,).

    What is lost there may be in that mark: the sizes of the pair tell nothing of a loss.
    """
    one, two, pairs = states.before_table, states.after_table, states.pairs
    went = np.setdiff1d(np.arange(len(one)), pairs.rows)
    came = np.setdiff1d(np.arange(len(two)), pairs.cols)
    came_px = carry_back(two.place_px[came], states.registration)
    went_px = carry_over(one.place_px[went], states.registration)
    before = run_together(one.place_px, reaches_px(one), came_px, reaches_px(two)[came])
    after = run_together(two.place_px, reaches_px(two), went_px, reaches_px(one)[went])
    parted: NDArray[np.bool_] = before[pairs.rows] | after[pairs.cols]
    return parted


def reaches_px(table: MarkTable) -> NDArray[np.float64]:
    """Return how far the shadow of each mark reaches, half of the blur disc at least, (N,) [px]."""
    reach_px: NDArray[np.float64] = np.maximum(table.reach_px, table.gate_px)
    return reach_px


def run_together(
    place_px: NDArray[np.float64],
    reach_px: NDArray[np.float64],
    other_px: NDArray[np.float64],
    other_reach_px: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Tell which of some marks run together with any of others, (N,).

    Two shadows no farther apart than half of both widths are found as one.

    Parameters
    ----------
    place_px, reach_px : (N, 2) and (N,) float64
        Where the marks lie, and how far their shadows reach.
    other_px, other_reach_px : (M, 2) and (M,) float64
        The same of the others, in the same picture.
    """
    are_together = np.zeros(len(place_px), np.bool_)
    if not len(place_px) or not len(other_px):
        return are_together
    # Reaches differ on both sides, so the widest one finds whoever may be near enough.
    near = cKDTree(other_px).query_ball_point(place_px, reach_px + other_reach_px.max())
    for row, others in enumerate(near):
        gap_px = np.hypot(*(other_px[others] - place_px[row]).T)
        are_together[row] = np.any(gap_px <= reach_px[row] + other_reach_px[others])
    return are_together
