"""Many frames at once: the same reports whatever the number of workers and the order given.

The unit of work, `analyse_shot`, is a plain function of a `Shot`, the settings and the
function that judges one file, so that any ``concurrent.futures`` executor can carry it, one
of another machine included.
"""

from __future__ import annotations

import logging
import os
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, ThreadPoolExecutor, wait
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, Final, Protocol

from motemap.errors import LoadError
from motemap.load import read_metadata
from motemap.pipeline.frame import analyse as analyse_frame
from motemap.pipeline.shots import Shot, group_shots, is_same_time
from motemap.pipeline.walk import canonical
from motemap.records import ErrorNote, FrameReport

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Executor
    from pathlib import Path

    from motemap.settings import Settings

LOGGER = logging.getLogger(__name__)

MOST_JOBS: Final = 4
"""Frames judged at once by default: each takes some hundred megabytes."""

WAITING_PER_JOB: Final = 2
"""Shots handed to an executor per worker: enough to keep it busy, few enough to stop soon."""

Judged = tuple["Path", FrameReport]


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
    executor: Executor | None = None,
    analyse: Analyse = analyse_frame,
    on_done: Callable[[Path], None] | None = None,
) -> tuple[FrameReport, ...]:
    """Judge many files; a raw and the camera's picture of the same shot count once.

    Parameters
    ----------
    jobs : int, optional
        Frames judged at the same time; as the machine allows when left out. With an
        executor of your own, its number of workers.
    executor : concurrent.futures.Executor, optional
        Who does the work: threads of this process when left out. It is not shut down.
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
    judged: list[Judged] = []
    for shot, reports in _carried_out(shots, settings, analyse, jobs=jobs, executor=executor):
        judged += reports
        if on_done is not None:
            for path in (shot.path, *shot.twins):
                on_done(path)
    return tuple(report for _, report in sorted(judged, key=lambda item: canonical(item[0])))


def _carried_out(
    shots: Iterable[Shot],
    settings: Settings,
    analyse: Analyse,
    *,
    jobs: int,
    executor: Executor | None,
) -> Iterator[tuple[Shot, tuple[Judged, ...]]]:
    if executor is not None:
        yield from _handed_out(shots, settings, analyse, executor=executor, jobs=jobs)
    elif jobs == 1:
        for shot in shots:
            yield shot, analyse_shot(shot, settings, analyse)
    else:
        own = ThreadPoolExecutor(max_workers=jobs, thread_name_prefix="motemap")
        try:
            yield from _handed_out(shots, settings, analyse, executor=own, jobs=jobs)
        finally:
            own.shutdown(wait=False, cancel_futures=True)


def _handed_out(
    shots: Iterable[Shot],
    settings: Settings,
    analyse: Analyse,
    *,
    executor: Executor,
    jobs: int,
) -> Iterator[tuple[Shot, tuple[Judged, ...]]]:
    waiting: dict[Future[tuple[Judged, ...]], Shot] = {}
    left = iter(shots)
    try:
        while True:
            room = jobs * WAITING_PER_JOB - len(waiting)
            for shot in islice(left, room):
                waiting[_submitted(executor, shot, settings, analyse)] = shot
            if not waiting:
                return
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                shot = waiting.pop(future)
                yield shot, _outcome(future, shot)
    finally:
        for future in waiting:
            future.cancel()


def _submitted(
    executor: Executor, shot: Shot, settings: Settings, analyse: Analyse
) -> Future[tuple[Judged, ...]]:
    try:
        return executor.submit(analyse_shot, shot, settings, analyse)
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
        cause = f"The worker that judged this picture was lost ({_named(error)})."
        repair = "Run it again; if it stays like this, judge this picture by itself."
        note = ErrorNote(cause=cause, repair=repair)
        files = (shot.path, *shot.twins)
        return tuple(
            (path, FrameReport(file=str(path), state="unreadable", error=note)) for path in files
        )


def _named(error: Exception) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__


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
        # One frame that brings the program down must not take the others with it.
        LOGGER.debug("Fault while judging %s", path, exc_info=True)
        return FrameReport(
            file=str(path),
            state="unreadable",
            error=ErrorNote(
                cause=f"The program failed on this picture ({_named(error)}).",
                repair="Run it again with --debug for the trace, and report it, please.",
            ),
        )


def _taken_at(path: Path) -> str | None:
    try:
        return read_metadata(path).metadata.exposure.taken_at
    except LoadError:  # damaged or gone: nothing there to contradict the raw
        return None
