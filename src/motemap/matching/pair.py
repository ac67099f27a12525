"""Pairing the marks of two registered frames, one to one."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from motemap.changes import Registration
from motemap.matching.mark_table import MarkTable
from motemap.matching.register import carry_over

SIZE_WEIGHT = 0.5
"""Cost of one standard deviation of size against one gate radius of distance."""

MOST_SIZE_COST = 2.0
"""Beyond this a size tells nothing more: at one place, a mark that shrank is likelier than
one that left while another landed there."""

COST_OF_NONE = 6.0
"""Cost of leaving a mark without partner; above any allowed pair, so pairs are not skipped."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairing:
    """Which marks are one and the same.

    Parameters
    ----------
    rows, cols : (P,) int
        Row numbers in the first and the second table, rising in `rows`.
    distance_px : (P,) float64
        What is left between them after registration [px].
    """

    rows: NDArray[np.intp]
    cols: NDArray[np.intp]
    distance_px: NDArray[np.float64]


def pair_marks(
    before: MarkTable, after: MarkTable, registration: Registration, gate_px: float | None = None
) -> Pairing:
    """Pair marks so that the sum of distances and size differences is least.

    Parameters
    ----------
    before, after : MarkTable
        Marks of the two frames.
    registration : Registration
        Carries the first frame's places over to the second's.
    gate_px : float, optional
        Farthest a pair may lie apart; by default half a blur disc or 3 px [px].

    Returns
    -------
    Pairing
        Each mark at most once.
    """
    gate = max(before.gate_px, after.gate_px) if gate_px is None else gate_px
    if not len(before) or not len(after):
        none = np.zeros(0, dtype=np.intp)
        return Pairing(rows=none, cols=none, distance_px=np.zeros(0))
    near = cKDTree(carry_over(before.place_px, registration)).sparse_distance_matrix(
        cKDTree(after.place_px), gate, output_type="ndarray"
    )
    rows, cols, distance_px = near["i"], near["j"], near["v"]
    cost = distance_px / gate + _size_cost(before, after, rows, cols)
    kept = _assign(rows, cols, cost, (len(before), len(after)))
    kept = kept[np.argsort(rows[kept], kind="stable")]
    return Pairing(rows=rows[kept], cols=cols[kept], distance_px=distance_px[kept])


def _size_cost(
    before: MarkTable, after: MarkTable, rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> NDArray[np.float64]:
    error = np.hypot(before.log_size_error[rows], after.log_size_error[cols])
    gap = np.abs(after.log_size[cols] - before.log_size[rows]) / error
    cost: NDArray[np.float64] = np.minimum(
        SIZE_WEIGHT * np.nan_to_num(gap, nan=0.0), MOST_SIZE_COST
    )
    return cost


def _assign(
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    cost: NDArray[np.float64],
    shape: tuple[int, int],
) -> NDArray[np.intp]:
    """Solve each cluster of marks that compete by itself; return the numbers of kept pairs."""
    n_rows, n_cols = shape
    links = coo_array(
        (np.ones(len(rows)), (rows, n_rows + cols)), shape=(n_rows + n_cols, n_rows + n_cols)
    )
    _, cluster = connected_components(links, directed=False)
    order = np.argsort(cluster[rows], kind="stable")
    bounds = np.flatnonzero(np.diff(cluster[rows][order])) + 1
    kept = [
        members if len(members) == 1 else _assign_cluster(rows, cols, cost, members)
        for members in np.split(order, bounds)
        if len(members)
    ]
    return np.concatenate(kept) if kept else np.zeros(0, dtype=np.intp)


def _assign_cluster(
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    cost: NDArray[np.float64],
    members: NDArray[np.intp],
) -> NDArray[np.intp]:
    our, our_index = np.unique(rows[members], return_inverse=True)
    their, their_index = np.unique(cols[members], return_inverse=True)
    table = np.full((len(our), len(their)), COST_OF_NONE)
    table[our_index, their_index] = cost[members]
    number = np.full(table.shape, -1, dtype=np.intp)
    number[our_index, their_index] = members
    chosen = number[linear_sum_assignment(table)]
    return np.sort(chosen[chosen >= 0])
