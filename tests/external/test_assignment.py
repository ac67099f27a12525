"""Pairing held against other ways to the same optimum.

Authorities: `scipy.optimize.linear_sum_assignment` on the whole undivided table (D. F. Crouse,
IEEE Transactions on Aerospace and Electronic Systems 52(4), 2016), and trying every way.
"""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from motemap.changes import IDENTITY
from motemap.matching import mark_table, pair_marks
from motemap.records import FrameReport
from sequences import Shot, report_of, spot

pytestmark = pytest.mark.external

PLAIN = Shot()
FAR = 6.0
"""Cost of a pair beyond the gate, in gates: what leaving both marks alone is reckoned at."""

Places = list[tuple[float, float]]
PLACES = st.lists(
    st.tuples(st.integers(990, 1015), st.integers(700, 720)), min_size=1, max_size=6, unique=True
)
"""Crowded into 25 x 20 px: several marks within the gate of 4.5 px of each other."""


def frame(places: Places) -> FrameReport:
    return report_of(
        [
            replace(spot(n, *place, shot=PLAIN), particle_um=None, lost_area_um2=None)
            for n, place in enumerate(places, start=1)
        ],
        PLAIN,
    )


def costs(before: Places, after: Places) -> NDArray[np.float64]:
    """Distance in gates, or `FAR`."""
    gate_px = mark_table(frame(before)).gate_px
    gaps = np.array(before, dtype=float)[:, None] - np.array(after, dtype=float)[None]
    gates = np.hypot(gaps[..., 0], gaps[..., 1]) / gate_px
    return np.where(gates <= 1.0, gates, FAR)


def our_cost(before: Places, after: Places) -> float:
    found = pair_marks(mark_table(frame(before)), mark_table(frame(after)), IDENTITY)
    table = costs(before, after)
    paired = float(table[found.rows, found.cols].sum())
    n_alone = min(table.shape) - len(found.rows)
    return float(paired + FAR * n_alone)


@given(PLACES, PLACES)
@settings(max_examples=150, derandomize=True, deadline=None)
def test_no_other_way_costs_less(before: Places, after: Places) -> None:
    table = costs(before, after)
    if table.shape[0] > table.shape[1]:
        table = table.T
    n_rows, n_cols = table.shape
    best = min(
        float(table[range(n_rows), list(chosen)].sum())
        for chosen in permutations(range(n_cols), n_rows)
    )
    assert our_cost(before, after) == pytest.approx(best)


@pytest.mark.parametrize("seed", range(3))
def test_dividing_the_problem_loses_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    before = [(float(x), float(y)) for x, y in rng.uniform(0, 300, (250, 2))]
    after = [(x + rng.normal(), y + rng.normal()) for x, y in before[:200]]
    table = costs(before, after)
    whole = float(table[linear_sum_assignment(table)].sum())
    assert our_cost(before, after) == pytest.approx(whole)
