"""Work shared out over processes of this machine, one item at a time each.

Not `concurrent.futures.ProcessPoolExecutor`: that one is lost as a whole when one of its
processes dies, as a damaged file may make a decoder in C do. Here a process that dies costs the
item it had, and another takes its place. Stopping ends them all at once.
"""

from __future__ import annotations

import logging
import multiprocessing
import signal
from collections import deque
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import wait
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
    from multiprocessing.connection import Connection

LOGGER = logging.getLogger(__name__)

Item = TypeVar("Item")
Outcome = TypeVar("Outcome")

FEWEST_SPAWNED: Final = 4
"""Fewer items are not worth processes that have to begin from nothing: half a second each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """Stands for the outcome of an item whose process died; `why` says how, for people."""

    why: str


def start_method() -> str:
    """Return how processes are started: copies of this one where that is safe, else anew.

    A copy costs nothing and needs no guard in anybody's script. It must not be made of a
    process that runs threads, those of libraries included, since a lock held by one of them
    stays held in the copy. Only Linux says how many there are.
    """
    threads = Path("/proc/self/task")
    is_alone = threads.is_dir() and len(list(threads.iterdir())) == 1
    return "fork" if is_alone else "spawn"


def are_worthwhile(n_items: int) -> bool:
    """Return whether so many items are done sooner with processes than without."""
    return n_items > 1 if start_method() == "fork" else n_items >= FEWEST_SPAWNED


def share_out(
    work: Callable[[Item, int], Outcome], items: Iterable[Item], *, jobs: int, start: str
) -> Generator[tuple[Item, Outcome | Lost], None, None]:
    """Do the work on every item, in processes; yield outcomes as they come.

    Parameters
    ----------
    work : callable
        Takes an item and how many threads it may use; must not raise.
    items : iterable
    jobs : int
        Processes, and threads of all of them together.
    start : {"fork", "spawn"}
        See `start_method`. For "spawn" the work must be picklable and the main module guarded.

    Notes
    -----
    To be closed when it is not used up: the processes end then, whatever they are at.
    """
    waiting = deque(items)
    crew: list[_Worker[Item, Outcome]] = []

    try:
        while waiting or _n_busy(crew):
            _enlist(crew, work, start, n_wanted=min(jobs, len(waiting) + _n_busy(crew)))
            if not crew:  # the system gives no process: it is done here
                item = waiting.popleft()
                yield item, work(item, jobs)
                continue
            _hand_out(crew, waiting, jobs)
            for worker in _answering(crew):
                yield worker.item, worker.answer()
            crew = _still_there(crew)
    finally:
        for worker in crew:
            worker.end()


def _enlist(
    crew: list[_Worker[Item, Outcome]],
    work: Callable[[Item, int], Outcome],
    start: str,
    *,
    n_wanted: int,
) -> None:
    """Start processes until there are as many as wanted, or the system refuses one."""
    while len(crew) < n_wanted:
        try:
            with _without_ctrl_c():
                crew.append(_Worker(work, start, [worker.link for worker in crew]))
        except OSError:
            LOGGER.debug("No process could be started", exc_info=True)
            return


def _n_busy(crew: Sequence[_Worker[Item, Outcome]]) -> int:
    return sum(worker.is_busy for worker in crew)


def _still_there(crew: Sequence[_Worker[Item, Outcome]]) -> list[_Worker[Item, Outcome]]:
    """Return the workers that are not lost, and bury the others."""
    for worker in crew:
        if worker.is_lost:
            worker.end()
    return [worker for worker in crew if not worker.is_lost]


def _hand_out(crew: Sequence[_Worker[Item, Outcome]], waiting: deque[Item], jobs: int) -> None:
    """Give each idle worker an item; threads are shared out when there is little left to do."""
    for worker in crew:
        if waiting and not worker.is_busy:
            n_open = len(waiting) + _n_busy(crew)
            worker.give(waiting.popleft(), max(1, jobs // n_open))


def _answering(crew: Sequence[_Worker[Item, Outcome]]) -> list[_Worker[Item, Outcome]]:
    ready = wait([worker.link for worker in crew if worker.is_busy])
    return [worker for worker in crew if worker.link in ready]


class _Worker(Generic[Item, Outcome]):
    """A process, and the link to it; at most one item is with it at a time."""

    def __init__(
        self, work: Callable[[Item, int], Outcome], start: str, others: list[Connection[Any, Any]]
    ) -> None:
        context: Any = multiprocessing.get_context(start)
        self.link, far = context.Pipe()
        # A copy of this process also has copies of this end of the links: while one is open
        # nobody notices that this process is gone.
        spare = [self.link, *others] if start == "fork" else []
        self._process = context.Process(target=serve, args=(work, far, spare), daemon=True)
        self._process.start()
        far.close()
        self._items: list[Item] = []
        self.is_lost = False

    @property
    def is_busy(self) -> bool:
        return bool(self._items)

    @property
    def item(self) -> Item:
        return self._items[0]

    def give(self, item: Item, n_threads: int) -> None:
        self._items = [item]
        with suppress(OSError):  # it died idle: seen when it is asked for its answer
            self.link.send((item, n_threads))

    def answer(self) -> Outcome | Lost:
        self._items = []
        try:
            outcome: Outcome = self.link.recv()
        except (EOFError, OSError):
            self.is_lost = True
            self._process.join()
            return Lost(why=_how_it_ended(self._process.exitcode))
        return outcome

    def end(self) -> None:
        if self.is_busy:
            self._process.kill()
        self.link.close()
        self._process.join()
        self._process.close()


def _how_it_ended(exit_code: int | None) -> str:
    if exit_code is not None and exit_code < 0:
        with suppress(ValueError):
            return signal.Signals(-exit_code).name
    return f"exit code {exit_code}"


def serve(
    work: Callable[[Item, int], Outcome],
    link: Connection[Any, Any],
    spare: Sequence[Connection[Any, Any]] = (),
) -> None:
    """Do, in a worker, what the other end of the link hands over, until that is closed."""
    # Ctrl-C reaches every process of a terminal; it is for the first to say what happens.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for other in spare:
        other.close()
    with suppress(EOFError, OSError):  # nobody is there any more
        while True:
            item, n_threads = link.recv()
            link.send(work(item, n_threads))


@contextmanager
def _without_ctrl_c() -> Iterator[None]:
    """Put Ctrl-C off while a process is started, so that it finds no worker half begun."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
