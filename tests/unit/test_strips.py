"""Strips cover a picture once, and what is done to them does not depend on threads."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from motemap.strips import (
    STRIP_CELLS,
    cell_strips,
    for_each,
    limited_threads,
    n_threads,
    row_strips,
    rows_round,
    same_workers,
)


def test_strips_cover_every_row_once() -> None:
    rows = np.zeros(23, int)
    for strip in row_strips(23, 5):
        rows[strip] += 1
    assert rows.tolist() == [1] * 23
    assert [strip.stop - strip.start for strip in row_strips(23, 5)] == [5, 5, 5, 5, 3]
    assert row_strips(0, 5) == ()


@pytest.mark.parametrize("row_cells", [STRIP_CELLS // 30, 3 * STRIP_CELLS])
def test_strips_of_so_many_cells_begin_at_multiples_of_a_step(row_cells: int) -> None:
    strips = cell_strips(101, row_cells, step=4)
    assert all(strip.start % 4 == 0 for strip in strips)
    assert [strip.stop for strip in strips] == [*(strip.start for strip in strips[1:]), 101]
    assert strips[0].stop == max(4, STRIP_CELLS // row_cells // 4 * 4)


@pytest.mark.parametrize(
    ("rows", "outer", "inner"),
    [
        (slice(0, 5), slice(0, 7), slice(0, 5)),
        (slice(1, 5), slice(0, 7), slice(1, 5)),
        (slice(9, 12), slice(7, 14), slice(2, 5)),
        (slice(15, 20), slice(13, 20), slice(2, 7)),
    ],
)
def test_rows_have_others_round_them_as_far_as_there_are_any(
    rows: slice, outer: slice, inner: slice
) -> None:
    assert rows_round(rows, 2, 20) == (outer, inner)


@pytest.mark.parametrize("most", [1, 2, 3])
def test_outcomes_come_in_order_for_any_number_of_threads(most: int) -> None:
    with limited_threads(most):
        assert for_each(lambda value: value * value, range(40)) == [n * n for n in range(40)]


def test_one_thread_works_in_the_thread_that_asked() -> None:
    with limited_threads(1):
        assert set(for_each(lambda _: threading.get_ident(), range(5))) == {threading.get_ident()}


def test_work_within_work_does_not_start_threads_of_its_own() -> None:
    with limited_threads(2):
        assert for_each(lambda _: n_threads(), range(5)) == [1] * 5


def test_the_limit_ends_with_its_block() -> None:
    before = n_threads()
    with limited_threads(7):
        assert n_threads() == 7
    assert n_threads() == before >= 1


def test_a_fault_in_one_strip_is_raised() -> None:
    def task(value: int) -> float:
        return 1 / value

    with limited_threads(2), pytest.raises(ZeroDivisionError):
        for_each(task, [3, 2, 1, 0])


def workers_of(n_items: int) -> set[threading.Thread]:
    return set(for_each(lambda _: threading.current_thread(), range(n_items)))


def test_the_same_workers_do_one_work_after_the_other() -> None:
    with limited_threads(2), same_workers():
        seen = [workers_of(40) for _ in range(20)]
        with same_workers():
            seen.append(workers_of(40))
        assert all(worker.is_alive() for worker in set.union(*seen))
    assert len(set.union(*seen)) <= 2
    assert not any(worker.is_alive() for worker in set.union(*seen))


def test_workers_that_wait_do_not_lift_a_limit() -> None:
    with limited_threads(3), same_workers():
        workers_of(40)
        with limited_threads(1):
            assert workers_of(40) == {threading.current_thread()}
        with limited_threads(2):
            assert len(workers_of(400)) <= 2
