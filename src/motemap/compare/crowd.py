"""Marks that one frame tells apart and the other sees as one."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from motemap.compare.two import TwoStates
from motemap.matching import MarkTable, carry_back, carry_over


def reaches_px(table: MarkTable, gate_px: float) -> NDArray[np.float64]:
    """Return how near to each mark another one has to lie that runs together with it, (N,) [px].

    Two shadows no farther apart than half of both widths are found as one.

    Parameters
    ----------
    gate_px : float
        Half of the width of the other one's shadow.
    """
    reach_px: NDArray[np.float64] = np.maximum(table.reach_px, table.gate_px) + gate_px
    return reach_px


def are_parted(states: TwoStates) -> NDArray[np.bool_]:
    """Tell which pairs run together with a mark that only one of the frames has, (P,).

    What is lost there may be in that mark: the sizes of the pair tell nothing of a loss.
    """
    one, two, pairs = states.before_table, states.after_table, states.pairs
    went = np.setdiff1d(np.arange(len(one)), pairs.rows)
    came = np.setdiff1d(np.arange(len(two)), pairs.cols)
    before = _cover(one, carry_back(two.place_px[came], states.registration), two.gate_px)
    after = _cover(two, carry_over(one.place_px[went], states.registration), one.gate_px)
    parted: NDArray[np.bool_] = before[pairs.rows] | after[pairs.cols]
    return parted


def _cover(table: MarkTable, place_px: NDArray[np.float64], gate_px: float) -> NDArray[np.bool_]:
    """Tell which marks of a table run together with marks at some places, (N,)."""
    if not len(table) or not len(place_px):
        return np.zeros(len(table), np.bool_)
    n_near = cKDTree(place_px).query_ball_point(
        table.place_px, reaches_px(table, gate_px), return_length=True
    )
    covered: NDArray[np.bool_] = np.asarray(n_near) > 0
    return covered
