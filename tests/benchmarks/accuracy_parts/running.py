"""Runs the grid, one frame after another or on several processes."""

from __future__ import annotations

import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from accuracy_parts.faint import Promise, check_promise, measure_distance
from accuracy_parts.frames import FrameScore, score_job
from accuracy_parts.grid import FAINT_VARIANTS, PROMISE_VARIANTS
from accuracy_parts.rivals import RivalScore, rival_scores

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from accuracy_parts.limit import Distance
    from accuracy_parts.rows import Job, Size, Variant


Given = TypeVar("Given")
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one frame: our score, and those of other detectors if they were asked."""

    score: FrameScore
    rivals: tuple[RivalScore, ...] = ()


def run_job(job: Job, *, has_rivals: bool) -> Outcome:
    """Draw, judge and score one frame; other detectors look at the same pixels if wanted."""
    with tempfile.TemporaryDirectory() as folder:
        seen = score_job(job, Path(folder))
    if not has_rivals:
        return Outcome(score=seen.score)
    from accuracy_parts.others import all_detectors  # they take seconds to import

    return Outcome(score=seen.score, rivals=tuple(rival_scores(seen, all_detectors())))


def run_grid(jobs: Sequence[Job], n_processes: int, *, has_rivals: bool) -> Iterator[Outcome]:
    """Run all frames and hand out their outcomes in the order of the jobs."""
    yield from _each(partial(run_job, has_rivals=has_rivals), jobs, n_processes)


def run_faint(
    size: Size,
    seed: int,
    n_processes: int,
    *,
    variants: Sequence[Variant] = FAINT_VARIANTS + PROMISE_VARIANTS,
) -> Iterator[tuple[Distance | None, Promise]]:
    """Measure distance to the limit and the promise of sensitivity for every kind of frame.

    The distance is None where noise sets no limit.
    """
    yield from _each(partial(_run_faint_one, size, seed), variants, n_processes)


def _run_faint_one(size: Size, seed: int, variant: Variant) -> tuple[Distance | None, Promise]:
    distance = None
    with tempfile.TemporaryDirectory() as folder:
        if variant not in PROMISE_VARIANTS:
            distance = measure_distance(variant, size, seed, Path(folder))
        promise = check_promise(variant, size, seed, Path(folder))
    return distance, promise


def _each(
    work: Callable[[Given], Made], items: Sequence[Given], n_processes: int
) -> Iterator[Made]:
    """Do the work on each item, in order, on one process or several."""
    if n_processes <= 1:
        yield from map(work, items)
        return
    with ProcessPoolExecutor(n_processes, mp_context=get_context("spawn")) as pool:
        yield from pool.map(work, items)
