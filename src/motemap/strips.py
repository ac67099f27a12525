"""A picture worked on strip by strip, several strips at once.

A strip fits the processor's cache and its scratch arrays are used again, where whole planes
would each be fetched anew from the system: on pictures of tens of megapixels that costs more
than the arithmetic. NumPy lets go of the interpreter while it works, so threads are enough.
The outcome never depends on their number.
"""

from __future__ import annotations

import os
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

MOST_THREADS: Final = 4
"""More gain little: the memory, not the processor, is then what is waited for."""

SHARES_PER_THREAD: Final = 2
"""Shares that work is parted into for each thread, lest one of them end long after the others."""
STRIP_CELLS: Final = 200_000
"""Cells of a strip: with its scratch arrays it stays in the processor's own memory."""
FEWEST_ITEMS: Final = 4
"""Work of fewer items is done by one thread: to start another takes longer."""

Item = TypeVar("Item")
Outcome = TypeVar("Outcome")


class _Limit(threading.local):
    """How many threads the work begun in this thread may use; 0 leaves it to the machine.

    `workers` are those that wait for work of so many threads, if any do.
    """

    n_threads: int = 0
    workers: tuple[int, ThreadPoolExecutor] | None = None


_LIMIT: Final = _Limit()


def row_strips(n_rows: int, strip_rows: int) -> tuple[slice, ...]:
    """Return slices that cut rows into strips of `strip_rows`; the last may be shorter."""
    return tuple(
        slice(first, min(first + strip_rows, n_rows)) for first in range(0, n_rows, strip_rows)
    )


def cell_strips(n_rows: int, row_cells: int, *, step: int = 1) -> tuple[slice, ...]:
    """Return slices that cut rows of so many cells into strips of about `STRIP_CELLS`.

    Each begins at a multiple of `step`.
    """
    return row_strips(n_rows, step * max(1, STRIP_CELLS // (row_cells * step)))


def rows_round(rows: slice, reach: int, n_rows: int) -> tuple[slice, slice]:
    """Return rows with so many more on both sides, as far as there are any.

    Returns
    -------
    outer : slice
        These, of all rows.
    inner : slice
        The rows themselves, of those.
    """
    first = max(rows.start - reach, 0)
    outer = slice(first, min(rows.stop + reach, n_rows))
    return outer, slice(rows.start - first, rows.stop - first)


def n_threads() -> int:
    """Return how many threads work begun in this thread uses."""
    return _LIMIT.n_threads or max(1, min(MOST_THREADS, os.cpu_count() or 1))


@contextmanager
def limited_threads(most: int) -> Iterator[None]:
    """Let work begun in this thread use at most so many threads, itself included.

    Who judges several frames at once gives each of them its share.
    """
    before = _LIMIT.n_threads
    _LIMIT.n_threads = most
    try:
        yield
    finally:
        _LIMIT.n_threads = before


@contextmanager
def same_workers() -> Iterator[None]:
    """Let all work begun in this thread be done by the same workers; also a decorator.

    To start some anew takes half a millisecond, and a frame has fifty occasions.
    """
    n_workers = n_threads()
    if n_workers <= 1 or _LIMIT.workers is not None:
        yield
        return
    with _new_workers(n_workers) as workers:
        _LIMIT.workers = n_workers, workers
        try:
            yield
        finally:
            _LIMIT.workers = None


@contextmanager
def _workers(n_workers: int) -> Iterator[ThreadPoolExecutor]:
    """Give the workers that wait, if there are as many as wanted, or else new ones."""
    if _LIMIT.workers is not None and _LIMIT.workers[0] == n_workers:
        yield _LIMIT.workers[1]
        return
    with _new_workers(n_workers) as workers:
        yield workers


def _new_workers(n_workers: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(n_workers, thread_name_prefix="motemap-strip")


def for_each(task: Callable[[Item], Outcome], items: Iterable[Item]) -> list[Outcome]:
    """Do a task for each item, several at a time; return what it gives, in order.

    Parameters
    ----------
    task : callable
        Must not depend on what it does for other items.
    items : iterable

    Raises
    ------
    Exception
        What the first failing item raised.
    """
    waiting = list(items)
    n_workers = n_threads()
    if n_workers <= 1 or len(waiting) < FEWEST_ITEMS:
        return [task(item) for item in waiting]

    def alone(items: slice) -> list[Outcome]:
        with limited_threads(1):
            return [task(item) for item in waiting[items]]

    # Few shares: to hand one over takes longer than to do a small item.
    shares = row_strips(len(waiting), -(-len(waiting) // (SHARES_PER_THREAD * n_workers)))
    with _workers(n_workers) as workers:
        return [outcome for share in workers.map(alone, shares) for outcome in share]
