"""Linear algebra by one thread, so that no digit of a result depends on how many there are.

A library for linear algebra parts a product among its threads, and each part is summed in another
order: last digits then differ between machines, and between a process and those it starts. Strips
and frames are what is done side by side here.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from threadpoolctl import threadpool_limits

if TYPE_CHECKING:
    from collections.abc import Iterator


class _Limit:
    """The limit of the whole process, and how many works are under it now."""

    def __init__(self) -> None:
        self.changing = threading.Lock()
        self.n_works = 0
        self.limits: threadpool_limits | None = None


_LIMIT: Final = _Limit()


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Let linear algebra use one thread while work goes on; also a decorator.

    The libraries know limits of a process only. So the first of several works at a time sets it,
    and the last gives back what was before.
    """
    with _LIMIT.changing:
        if not _LIMIT.n_works:
            _LIMIT.limits = threadpool_limits(limits=1, user_api="blas")
        _LIMIT.n_works += 1
    try:
        yield
    finally:
        with _LIMIT.changing:
            _LIMIT.n_works -= 1
            if not _LIMIT.n_works and _LIMIT.limits is not None:
                _LIMIT.limits.restore_original_limits()
                _LIMIT.limits = None
