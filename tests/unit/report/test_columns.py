import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from motemap.report.columns import positions, significants
from motemap.report.rounding import decimals, finite, significant

VALUES = st.lists(st.none() | st.floats() | st.floats(0, 1) | st.floats(-1e5, 1e5), max_size=8)
MIDDLES = [0.12345, 0.5, 0.0005, 1000.5, 99995.0, 9999.5, 999.95, 2.675, 1.0005, 0.0015]
EDGES = [0.0, -0.0, -0.0001, 1000.0, 0.001, 1e22, 1e23, 1e-9, 1e-320, 1.7e308, 1e6, 123456.5]


def one_by_one(value: float | None, digits: object) -> float | None:
    known = finite(value)
    if known is None:
        return None
    return significant(known) if digits is significants else decimals(known)


@given(VALUES)
@example(MIDDLES)
@example([math.nextafter(value, 0) for value in MIDDLES])
@example([math.nextafter(value, math.inf) for value in MIDDLES])
@example(EDGES)
@example([None, math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("together", [significants, positions])
def test_all_at_once_are_those_one_by_one(together: object, values: list[float | None]) -> None:
    found = significants(values) if together is significants else positions(values)
    wanted = [one_by_one(value, together) for value in values]
    assert [repr(value) for value in found] == [repr(value) for value in wanted]
