"""Scoring on marks one can count on one's fingers."""

from typing import Any

import numpy as np
import pytest
from accuracy_parts.scoring import Found, group_truths, is_counting, match
from accuracy_parts.truths import Truth

from motemap.records import Layer


def truth(row_px: float, col_px: float, **changes: Any) -> Truth:
    """Return a speck 10 px wide; its reach is 6 px."""
    line = changes.pop("line_px", np.array([[row_px, col_px]], dtype=np.float64))
    plain: dict[str, Any] = {
        "form": "speck",
        "layer": "filter stack",
        "depth_frac": 0.05,
        "snr": 40.0,
        "width_px": 10.0,
        "lost_area_px2": 4.0,
        "reach_px": 6.0,
    }
    return Truth(row_px=row_px, col_px=col_px, line_px=line, **(plain | changes))


def found(row_px: float, col_px: float, layer: Layer = "filter stack") -> Found:
    return Found(row_px=row_px, col_px=col_px, layer=layer)


def test_each_report_is_matched_with_the_nearer_of_two_marks() -> None:
    truths = (truth(100.0, 100.0), truth(100.0, 109.0))
    result = match(truths, (found(100.0, 108.0), found(100.0, 101.0)))
    assert result.taken == {0: 1, 1: 0}
    assert result.extra == ()


def test_a_report_beyond_reach_is_false_and_the_mark_missed() -> None:
    result = match((truth(100.0, 100.0),), (found(100.0, 106.5),))
    assert result.taken == {}
    assert result.extra == (0,)


def test_a_second_report_of_the_same_mark_is_false() -> None:
    result = match((truth(100.0, 100.0),), (found(100.0, 101.0), found(100.0, 103.0)))
    assert result.taken == {0: 0}
    assert result.extra == (1,)


@pytest.mark.parametrize(("apart_px", "n_groups"), [(5.9, 1), (6.1, 2)])
def test_marks_nearer_than_six_tenths_of_a_width_count_once(apart_px: float, n_groups: int) -> None:
    truths = (truth(50.0, 50.0), truth(50.0, 50.0 + apart_px))
    assert len(group_truths(truths)) == n_groups


def test_one_can_look_through_a_film() -> None:
    smear = truth(50.0, 50.0, form="smear", width_px=100.0)
    assert len(group_truths((smear, truth(50.0, 70.0)))) == 2


def test_both_members_of_a_group_may_be_reported() -> None:
    truths = (truth(50.0, 50.0), truth(50.0, 55.0))
    result = match(truths, (found(50.0, 50.0), found(50.0, 55.0)))
    assert result.extra == ()
    assert match(truths, (found(50.0, 50.0),)).taken == {0: 0}


def test_a_mark_that_counts_is_served_before_one_that_does_not() -> None:
    # The report lies nearer to the faint mark, yet within reach of the clear one.
    truths = (truth(50.0, 50.0, depth_frac=0.002), truth(50.0, 57.0))
    result = match(truths, (found(50.0, 53.0),))
    assert result.taken == {1: 0}


def test_a_fibre_is_found_on_its_line_and_near_its_centroid_only() -> None:
    line = np.stack([np.full(101, 50.0), np.arange(100.0, 201.0)], axis=1)
    fibre = truth(50.0, 150.0, form="fibre", line_px=line, centroid_reach_px=15.0)
    for report, n_false in (
        (found(55.0, 110.0), 0),
        (found(64.0, 150.0), 0),
        (found(64.0, 110.0), 1),
    ):
        assert len(match((fibre,), (report,)).extra) == n_false


def test_lens_dust_has_to_be_called_so() -> None:
    disc = truth(50.0, 50.0, layer="lens side", width_px=100.0, reach_px=60.0)
    called = match((disc,), (found(60.0, 60.0, layer="lens side"),))
    assert called.lens_taken == {0: 0}
    assert called.extra == ()
    assert match((disc,), (found(60.0, 60.0),)).extra == (0,)


def test_a_speck_taken_for_lens_dust_is_missed() -> None:
    result = match((truth(50.0, 50.0),), (found(50.0, 50.0, layer="lens side"),))
    assert result.taken == {}
    assert result.extra == (0,)


@pytest.mark.parametrize(
    "changes",
    [{"depth_frac": 0.009}, {"snr": 11.9}, {"light_frac": 0.05}, {"layer": "lens side"}],
)
def test_faint_noisy_dark_and_distant_marks_do_not_have_to_be_found(
    changes: dict[str, Any],
) -> None:
    assert is_counting(truth(50.0, 50.0))
    assert not is_counting(truth(50.0, 50.0, **changes))
