"""Connected pieces of what the search found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell, disc, flat_frame, noisy
from motemap.detect import detect, heaps
from motemap.detect.boxes import box_of, widened
from motemap.detect.clumps import Clump
from motemap.detect.pursuit import explain
from motemap.detect.usual import lone_radius
from motemap.settings import DetectSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.detect.moving import ShadowShape
    from motemap.detect.pursuit import ClumpFit, Task
    from motemap.records import Region

SHAPE = (41, 61)
FIELD, RADIUS = (420, 620), 9.0
LONE = [(60, 60), (60, 200), (60, 340), (60, 480), (200, 60), (200, 480), (340, 60), (340, 480)]


def clump_of(depth: NDArray[np.float32], inside: NDArray[np.bool_]) -> Clump:
    box = (slice(0, SHAPE[0]), slice(0, SHAPE[1]))
    return Clump(
        box=box,
        inside=inside,
        depth=depth,
        sigma_cell=0.9,
        noise_frac=0.003,
        snr=30.0,
        low_area=int(np.count_nonzero(inside)),
    )


def marks_of(*layers: NDArray[np.float32]) -> tuple[Region, ...]:
    """Search a noisy field in which shadows lie over one another."""
    light = 1.0 + noisy(FIELD, 0.003, 5)
    for layer in layers:
        light *= 1.0 + layer
    flat = flat_frame((light - 1.0).astype(np.float32), 0.003)
    return detect(flat, widest_px=50.0, usual_px=40.0, settings=DetectSettings()).regions


def discs(places: Sequence[tuple[float, float]], depth: float) -> list[NDArray[np.float32]]:
    return [disc(FIELD, row, col, RADIUS, depth) for row, col in places]


@pytest.mark.parametrize("radius", [4.0, 9.0])
def test_a_round_mark_tells_its_radius(radius: float) -> None:
    depth = -disc(SHAPE, 20, 30, radius, 0.3)
    assert lone_radius(clump_of(depth, depth > 0.01)) == pytest.approx(radius, rel=0.08)


def test_a_bell_s_radius_is_that_at_half_depth() -> None:
    depth = -bell(SHAPE, 20, 30, 5.0, 0.3)
    assert lone_radius(clump_of(depth, depth > 0.01)) == pytest.approx(5.0 * 1.1774, rel=0.06)


def test_a_long_mark_has_none() -> None:
    depth = np.zeros(SHAPE, np.float32)
    depth[18:22, 5:55] = 0.3
    assert lone_radius(clump_of(depth, depth > 0.01)) is None


def test_a_piece_nowhere_darker_than_the_background_has_none() -> None:
    # As beside a bright object: darker than its surround, brighter than the field.
    depth = np.full(SHAPE, -0.2, np.float32)
    assert lone_radius(clump_of(depth, depth < 0)) is None


def test_boxes_are_widened_within_the_plane() -> None:
    outer, inner = widened((slice(2, 6), slice(50, 60)), 5, SHAPE)
    assert outer == (slice(0, 11), slice(45, 61))
    assert inner == (slice(2, 6), slice(5, 15))
    assert box_of(outer, inner) == (slice(2, 6), slice(50, 60))


@pytest.mark.parametrize("apart", [0.65, 0.78, 0.95])
def test_overlapping_discs_of_the_usual_size_are_parted(apart: float) -> None:
    pair = [(200.0, 270.0), (200.0, 270.0 + 2 * RADIUS * apart)]
    regions = marks_of(*discs(LONE, 0.3), *discs(pair, 0.3))
    assert len(regions) == len(LONE) + 2


def test_a_heap_of_discs_is_taken_apart() -> None:
    # 14 cells from one to the next, 0.78 of a width, in three rows: some cells lie under four.
    heap = [
        (190.0 + 12 * row, 260.0 + 14 * col + 7 * (row % 2)) for row in range(3) for col in range(3)
    ]
    regions = marks_of(*discs(LONE, 0.08), *discs(heap, 0.08))
    assert len(regions) == len(LONE) + len(heap)
    shared = [region for region in regions if region.alone is not None]
    assert len(shared) == len(heap)
    for region in shared:
        assert region.alone is not None
        # Each freed of the others is as deep as when it was drawn; 0.012 is four times the noise
        # of a cell, whose median over a disc is known far better.
        assert np.median(region.alone[region.mask]) == pytest.approx(-0.08, abs=0.012)


def test_a_band_as_wide_as_a_disc_is_not_taken_for_a_row_of_discs() -> None:
    band = np.zeros(FIELD, np.float32)
    band[191:209, 240:330] = -0.2
    assert len(marks_of(*discs(LONE, 0.2), band)) == len(LONE) + 1


@pytest.mark.parametrize("length", [6.0, 12.0])
def test_a_short_faint_stick_is_no_pair_of_discs(length: float) -> None:
    # Two discs explain it to within the noise, and as well from one place as from another.
    rows, cols = np.indices(FIELD)
    away = np.hypot(rows - 200, cols - 250 - np.clip(cols - 250, 0, length))
    stick = (-0.05 * np.clip(RADIUS + 0.5 - away, 0, 1)).astype(np.float32)
    assert len(marks_of(*discs(LONE, 0.2), stick)) == len(LONE) + 1


def soft(dots: Sequence[tuple[float, float, float]]) -> list[NDArray[np.float32]]:
    """Draw bells, given by row, column and depth."""
    return [bell(FIELD, row, col, 4.0, depth) for row, col, depth in dots]


SOFT_LONE = [(float(row), float(col), 0.1) for row, col in LONE]
SOFT_PAIR = [(200.0, 270.0, 0.1), (203.0, 278.5, 0.08)]
"""2.2 sigmas, 0.93 of a width: the way between falls by 3 % only."""
SOFT_TRIPLES = [
    [(202.0, 268.0, 0.07), (193.0, 275.0, 0.08), (207.0, 269.0, 0.02)],
    [(194.0, 276.0, 0.09), (193.0, 265.0, 0.02), (197.0, 270.0, 0.08)],
]


def test_a_thread_of_soft_dots_is_one_mark() -> None:
    # Bells two sigmas apart add up to an even ridge: nothing tells them from a fibre.
    thread = soft([(200, 240 + 8 * step, 0.2) for step in range(9)])
    lone = soft([(row, col, 0.2) for row, col in LONE])
    assert len(marks_of(*lone, sum(thread[1:], thread[0]))) == len(LONE) + 1


def test_two_soft_dots_are_parted_where_no_dip_parts_them() -> None:
    assert len(marks_of(*soft(SOFT_LONE + SOFT_PAIR))) == len(LONE) + 2


def test_what_is_too_deep_for_a_usual_shadow_is_one_grain() -> None:
    # So deep a shadow is that of a grain about as wide as the blur disc, which has a width of its own.
    deep = [(row, col, 5 * depth) for row, col, depth in SOFT_LONE + SOFT_PAIR]
    assert len(marks_of(*soft(deep))) == len(LONE) + 1


@pytest.mark.parametrize("triple", SOFT_TRIPLES)
def test_what_three_soft_dots_explain_better_is_no_pair(
    triple: list[tuple[float, float, float]],
) -> None:
    # Two leave hardly more than the noise, which would do; only looking for a third tells.
    assert len(marks_of(*soft(SOFT_LONE + triple))) == len(LONE) + 1


def test_a_third_soft_dot_is_sought_only_where_two_are_believed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[int] = []

    def counting(shape: ShadowShape, tasks: Sequence[Task]) -> list[ClumpFit]:
        asked.append(len(tasks))
        return explain(shape, tasks)

    monkeypatch.setattr(heaps, "explain", counting)
    # Twice as long as wide and of even depth: two bells leave half of it unexplained.
    stick = np.zeros(FIELD, np.float32)
    stick[333:347, 264:292] = -0.1
    marks_of(*soft(SOFT_LONE + SOFT_PAIR), stick)
    # Two; of these the pair with one more; and once more from other places.
    assert asked == [2, 1, 1]
