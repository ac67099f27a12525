"""The marks of a frame as columns."""

from __future__ import annotations

import numpy as np

from motemap.distances import regions_of
from motemap.records import Region

ALONE = np.arange(6, dtype=np.float32).reshape(2, 3)
MARKS = [
    Region(top_cell=4, left_cell=7, mask=np.ones((3, 5), bool), snr=9.0, scale_cell=1.0),
    Region(
        top_cell=1,
        left_cell=2,
        mask=np.array([[True, False, True], [True, True, True]]),
        snr=12.5,
        scale_cell=2.0,
        alone=ALONE,
    ),
    Region(top_cell=0, left_cell=0, mask=np.ones((1, 1), bool), snr=7.0, scale_cell=1.0),
]


def assert_same(found: tuple[Region, ...], wanted: list[Region]) -> None:
    assert len(found) == len(wanted)
    for one, other in zip(found, wanted, strict=True):
        assert np.array_equal(one.mask, other.mask)
        assert one.alone is other.alone
        for name in ("top_cell", "left_cell", "snr", "scale_cell"):
            assert getattr(one, name) == getattr(other, name)


def test_marks_put_together_are_the_same_singly() -> None:
    regions = regions_of(MARKS)
    assert_same(regions.singly(), MARKS)
    # Discs from cell to cell: of three cells across, and of one.
    assert regions.thickness_cell.tolist() == [4.0, 2.0, 2.0]


def test_some_are_kept() -> None:
    assert_same(regions_of(MARKS).only(np.array([False, True, True])).singly(), MARKS[1:])


def test_they_are_taken_in_any_order_and_joined() -> None:
    regions = regions_of(MARKS)
    turned = regions.chosen(np.array([2, 1]))
    assert_same(turned.singly(), [MARKS[2], MARKS[1]])
    assert_same(regions.with_others(turned).singly(), [*MARKS, MARKS[2], MARKS[1]])
    assert len(regions.with_others(turned)) == 5
