"""Joining the arcs of a drop's dark rim."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fields import bell, flat_frame
from motemap.detect.rings import join_rings
from motemap.distances import regions_of
from motemap.records import Region

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

SHAPE = (60, 90)


def region_at(row: int, col: int, snr: float = 20.0) -> Region:
    return Region(
        top_cell=row - 1, left_cell=col - 2, mask=np.ones((3, 5), bool), snr=snr, scale_cell=1.0
    )


def joined(contrast: NDArray[np.float32], regions: Sequence[Region]) -> tuple[Region, ...]:
    return join_rings(flat_frame(contrast, 0.001), regions_of(regions)).singly()


def are_same(found: Sequence[Region], wanted: Sequence[Region]) -> bool:
    return len(found) == len(wanted) and all(
        (one.top_cell, one.left_cell, one.snr) == (other.top_cell, other.left_cell, other.snr)
        and np.array_equal(one.mask, other.mask)
        for one, other in zip(found, wanted, strict=True)
    )


def arcs(middle: float) -> NDArray[np.float32]:
    """Two dark arcs, 0.2 deep, above and below a place brighter or darker by `middle`."""
    dark = bell(SHAPE, 25, 40, 1.5, 0.2) + bell(SHAPE, 35, 40, 1.5, 0.2)
    return dark + bell(SHAPE, 30, 40, 1.5, -middle)


def test_arcs_round_a_bright_middle_are_one_mark() -> None:
    regions = [region_at(25, 40, 20.0), region_at(50, 70), region_at(35, 40, 30.0)]
    ring, other = joined(arcs(0.15), regions)
    assert are_same([other], [regions[1]])
    assert (ring.top_cell, ring.left_cell, ring.mask.shape, ring.snr) == (24, 38, (13, 5), 30.0)
    assert ring.mask[:3].all()
    assert ring.mask[-3:].all()
    assert not ring.mask[3:-3].any()


def test_arcs_are_found_past_marks_that_lie_beside_them() -> None:
    beside = [region_at(row, 70) for row in (26, 30, 34)]
    ring, *others = joined(arcs(0.15), [region_at(35, 40), *beside, region_at(25, 40)])
    assert are_same(others, beside)
    assert ring.mask.shape == (13, 5)


def test_neighbours_with_faint_fringes_stay_apart() -> None:
    # 0.04 is a fifth of their depth, twice what the fringes of two specks add up to.
    regions = [region_at(25, 40), region_at(35, 40)]
    assert are_same(joined(arcs(0.04), regions), regions)


def test_marks_far_apart_are_no_ring() -> None:
    light = np.zeros(SHAPE, np.float32) + bell(SHAPE, 30, 50, 4.0, -0.5)
    light += bell(SHAPE, 30, 40, 1.5, 0.2) + bell(SHAPE, 30, 60, 1.5, 0.2)
    regions = [region_at(30, 40), region_at(30, 60)]
    assert are_same(joined(light, regions), regions)


def test_nothing_joins_nothing() -> None:
    assert joined(arcs(0.1), []) == ()


def test_rings_are_found_wherever_they_lie() -> None:
    # Six cells each way from the bright middle, at angles and places of all kinds.
    shape = (260, 330)
    light, regions = np.zeros(shape, np.float32), []
    for number in range(35):
        row, col = 25 + 41 * (number // 7) + number % 5, 25 + 43 * (number % 7) + number % 3
        angle = 0.6 * number
        light += bell(shape, row, col, 1.5, -0.15)
        for sign in (1, -1):
            ends = row + round(sign * 6 * np.sin(angle)), col + round(sign * 6 * np.cos(angle))
            light += bell(shape, *ends, 1.5, 0.2)
            regions.append(region_at(*ends))
    assert len(joined(light, [*regions[::2], *regions[1::2]])) == 35
