"""Many frames at once: the same reports whatever the number of workers and the order given.

The unit of work, `analyse_shot`, is a plain function of a `Shot`, the settings and the
function that judges one file, so that any ``concurrent.futures`` executor can carry it, one
of another machine included.
"""

from __future__ import annotations

import logging
import os
from collections import deque
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, ThreadPoolExecutor, wait
from contextlib import closing
from dataclasses import replace
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final, Literal, Protocol

from motemap.blas import one_blas_thread
from motemap.errors import LoadError, fault_words
from motemap.load import read_metadata
from motemap.pipeline.frame import analyse as analyse_frame
from motemap.pipeline.frame import failed, import_stages
from motemap.pipeline.shots import Shot, group_shots, is_same_time
from motemap.pipeline.walk import canonical
from motemap.records import ErrorNote, FrameReport
from motemap.strips import limited_threads

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Sequence
    from concurrent.futures import Executor
    from contextlib import AbstractContextManager
    from pathlib import Path

    from motemap.settings import Settings

LOGGER = logging.getLogger(__name__)

MOST_JOBS: Final = 4
"""Frames judged at once by default: each takes some hundred megabytes."""

WAITING_PER_JOB: Final = 2
"""Shots handed to an executor per worker: enough to keep it busy, few enough to stop soon."""

Judged = tuple["Path", FrameReport]
Done = tuple[Shot, tuple[Judged, ...]]


class Analyse(Protocol):
    """Judges one file; a bad one gives an unreadable frame, never an error."""

    def __call__(self, path: Path, settings: Settings, /) -> FrameReport:
        """Return what is to be said about the file."""
        ...


def default_jobs() -> int:
    """Return how many frames to judge at once on this machine."""
    return max(1, min(MOST_JOBS, os.cpu_count() or 1))


def analyse_many(
    paths: Iterable[Path],
    settings: Settings,
    *,
    jobs: int | None = None,
    executor: Executor | Literal["processes"] | None = None,
    analyse: Analyse = analyse_frame,
    on_done: Callable[[Path], None] | None = None,
) -> tuple[FrameReport, ...]:
    """Judge many files; a raw and the camera's picture of the same shot count once.

    Parameters
    ----------
    jobs : int, optional
        Frames judged at the same time; as the machine allows when left out. Where there are
        fewer frames than that, several threads judge one. With an executor of your own, its
        number of workers; each uses one thread.
    executor : concurrent.futures.Executor or "processes", optional
        Who does the work: threads of this process when left out; "processes" starts some,
        which is faster, since Python itself runs in one thread of a process at a time. Call
        it then from below ``if __name__ == "__main__":``. An executor is not shut down.
    analyse : callable
        Judges one file; for a process or another machine it must be picklable.
    on_done : callable, optional
        Called in this thread with each file as its shot is done, in order of completion.

    Returns
    -------
    tuple of FrameReport
        In the order of the paths, folder by folder and then by name, whatever the order
        they were given in and whoever was done first.
    """
    shots = group_shots(paths)
    jobs = default_jobs() if jobs is None else jobs
    work = partial(_judge_shot, settings=settings, analyse=analyse)
    judged: list[Judged] = []
    with closing(_carried_out(shots, work, jobs=jobs, executor=executor)) as carried_out:
        for shot, reports in carried_out:
            judged += reports
            if on_done is not None:
                for path in (shot.path, *shot.twins):
                    on_done(path)
    return tuple(report for _, report in sorted(judged, key=lambda item: canonical(item[0])))


class _Work(Protocol):
    """Judges one shot with so many threads."""

    def __call__(self, shot: Shot, n_threads: int, /) -> tuple[Judged, ...]: ...


def _judge_shot(
    shot: Shot, n_threads: int, *, settings: Settings, analyse: Analyse
) -> tuple[Judged, ...]:
    with limited_threads(n_threads):
        return analyse_shot(shot, settings, analyse)


def _carried_out(
    shots: Sequence[Shot],
    work: _Work,
    *,
    jobs: int,
    executor: Executor | Literal["processes"] | None,
) -> Generator[Done, None, None]:
    """Yield each shot with its reports as it is done, in processes, threads or right here."""
    if executor == "processes":
        if jobs > 1 and len(shots) > 1 and _import_processes().are_worthwhile(len(shots)):
            yield from _in_processes(shots, work, jobs=jobs)
            return
        executor = None
    if executor is not None:
        with _held_back():
            yield from _handed_out(shots, work, executor=executor, n_workers=jobs, n_threads=1)
    elif jobs == 1 or len(shots) == 1:
        for shot in shots:
            yield shot, work(shot, jobs)
    else:
        own = ThreadPoolExecutor(max_workers=jobs, thread_name_prefix="motemap")
        try:
            with _held_back():
                yield from _handed_out(shots, work, executor=own, n_workers=jobs, n_threads=jobs)
        finally:
            own.shutdown(wait=False, cancel_futures=True)


def _held_back() -> AbstractContextManager[None]:
    """Hold linear algebra to one thread from before the first of several workers to the last.

    Whoever does so goes through the libraries that are loaded. Beside a thread that is just
    loading one, each may wait for the other for ever, so it is done while there is but one.
    """
    import_stages()
    return one_blas_thread()


def _import_processes() -> Any:
    """Return the module that shares out work; a single frame has no need of it."""
    return import_module("motemap.pipeline.processes")


def _in_processes(shots: Sequence[Shot], work: _Work, *, jobs: int) -> Generator[Done, None, None]:
    """Do the same in processes of this machine; shots of one that died are reported as lost."""
    processes = _import_processes()
    start = processes.start_method()
    if start == "fork":  # once for all copies
        import_stages()
    with closing(processes.share_out(work, shots, jobs=jobs, start=start)) as shared_out:
        for shot, outcome in shared_out:
            if isinstance(outcome, processes.Lost):
                yield shot, _lost(shot, outcome.why)
            else:
                yield shot, outcome


def _handed_out(
    shots: Sequence[Shot],
    work: _Work,
    *,
    executor: Executor,
    n_workers: int,
    n_threads: int,
) -> Generator[Done, None, None]:
    """Keep the workers of an executor busy, who may use so many threads together or one each."""
    waiting: dict[Future[tuple[Judged, ...]], Shot] = {}
    left = deque(shots)
    try:
        while left or waiting:
            while left and len(waiting) < n_workers * WAITING_PER_JOB:
                share = max(1, n_threads // (len(waiting) + len(left)))
                shot = left.popleft()
                waiting[_submitted(executor, work, shot, share)] = shot
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                shot = waiting.pop(future)
                yield shot, _outcome(future, shot)
    finally:
        for future in waiting:
            future.cancel()


def _submitted(
    executor: Executor, work: _Work, shot: Shot, n_threads: int
) -> Future[tuple[Judged, ...]]:
    try:
        return executor.submit(work, shot, n_threads)
    except BrokenExecutor as error:  # its workers are gone: what was judged so far still counts
        failed: Future[tuple[Judged, ...]] = Future()
        failed.set_exception(error)
        return failed


def _outcome(future: Future[tuple[Judged, ...]], shot: Shot) -> tuple[Judged, ...]:
    """Return what a worker says; a worker that is gone costs the shots it had, not the run."""
    try:
        return future.result()
    except Exception as error:
        LOGGER.debug("Lost while judging %s", shot.path, exc_info=True)
        return _lost(shot, fault_words(error))


def _lost(shot: Shot, why: str) -> tuple[Judged, ...]:
    note = ErrorNote(
        cause=f"The worker that judged this picture was lost ({why}).",
        repair="Run it again; if it stays like this, judge this picture by itself.",
    )
    return tuple(
        (path, FrameReport(file=str(path), state="unreadable", error=note))
        for path in (shot.path, *shot.twins)
    )


def analyse_shot(shot: Shot, settings: Settings, analyse: Analyse) -> tuple[Judged, ...]:
    """Judge one shot: its raw, and the picture beside it only where that says more.

    A picture of the same name is left out when the raw could be read and the times in both
    do not contradict each other.
    """
    report = _judged(shot.path, settings, analyse)
    if report.state == "unreadable":
        same = []
    else:
        taken_at = report.exposure.taken_at
        same = [twin for twin in shot.twins if is_same_time(taken_at, _taken_at(twin))]
    others = [twin for twin in shot.twins if twin not in same]
    notes = tuple(f"{twin.name} is the same shot and was left out." for twin in same)
    report = replace(report, notes=(*report.notes, *notes))
    rest = ((twin, _judged(twin, settings, analyse)) for twin in others)
    return ((shot.path, report), *rest)


def _judged(path: Path, settings: Settings, analyse: Analyse) -> FrameReport:
    try:
        return analyse(path, settings)
    except Exception as error:
        LOGGER.debug("Fault while judging %s", path, exc_info=True)
        return failed(str(path), error)


def _taken_at(path: Path) -> str | None:
    try:
        return read_metadata(path).metadata.exposure.taken_at
    except LoadError:  # damaged or gone: nothing there to contradict the raw
        return None
