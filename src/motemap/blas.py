"""Libraries held to one thread, so that no digit of a result depends on how many there are.

A library for linear algebra parts a product among its threads, and each part is summed in another
order: last digits then differ between machines, and between a process and those it starts. Strips
and frames are what is done side by side here.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

from threadpoolctl import threadpool_limits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


class OneThread:
    """Holds a library to one thread while works go on.

    Libraries know limits of a process only. So the first of several works at a time sets it, and
    the last gives back what was before.

    Parameters
    ----------
    limit : callable
        Sets the limit, and returns what gives back what was before.
    """

    def __init__(self, limit: Callable[[], Callable[[], object]]) -> None:
        self._limit = limit
        self._changing = threading.Lock()
        self._n_works = 0
        self._give_back: Callable[[], object] | None = None

    @contextmanager
    def __call__(self) -> Iterator[None]:
        """Begin a work, and end it; also a decorator."""
        with self._changing:
            if not self._n_works:
                self._give_back = self._limit()
            self._n_works += 1
        try:
            yield
        finally:
            with self._changing:
                self._n_works -= 1
                if not self._n_works and self._give_back is not None:
                    self._give_back()
                    self._give_back = None


def _limit_blas() -> Callable[[], None]:
    limits: Callable[[], None] = threadpool_limits(
        limits=1, user_api="blas"
    ).restore_original_limits
    return limits


one_blas_thread = OneThread(_limit_blas)
"""Let linear algebra use one thread while work goes on; also a decorator."""
