"""Frames of one state, found, judged together and reported as one."""

from __future__ import annotations

import logging
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from motemap.blas import one_blas_thread
from motemap.bodies import BodyKey, body_key
from motemap.burst import (
    LightFlat,
    combine_flats,
    combine_reports,
    group_bursts,
    least_times,
    noise_factor,
    times_on_lens,
    times_present,
)
from motemap.errors import LoadError, fault_words
from motemap.load import read_metadata
from motemap.pipeline.again import judge_again
from motemap.pipeline.batch import default_jobs
from motemap.pipeline.burst_choice import (
    MOST_FRAMES,
    Ground,
    Sight,
    are_aligned,
    choose,
    left_out,
    smallest_shown,
)
from motemap.pipeline.frame import failed, look_at
from motemap.pipeline.judging import Look, judge_flat, with_stack_told
from motemap.pipeline.shots import group_shots
from motemap.pipeline.walk import canonical
from motemap.records import FrameReport
from motemap.strips import limited_threads

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from motemap.records import FlatFrame, Frame, Metadata, Stack
    from motemap.settings import Settings

LOGGER = logging.getLogger(__name__)

TOGETHER: Final = "Combined from {n_frames} frames."
MEAN_FAULT: Final = (
    "The mean of the frames could not be judged ({fault}): what is said here is what most of them show, "
    "each judged by itself. Run it again with --debug for the trace, and report it, please."
)
VOTE_FAULT: Final = (
    "The frames could not be combined ({fault}): what is said here rests on {file} alone. Run it again "
    "with --debug for the trace, and report it, please."
)
"""What is said where a fault keeps the mean, or any combination, from being judged."""


def find_bursts(paths: Iterable[Path]) -> tuple[tuple[Path, ...], ...]:
    """Sort pictures into bursts by what their metadata say, without reading a pixel.

    Pictures of one body a short while apart are one burst. Those whose time is unknown are
    one burst a folder and body. A raw and the camera's picture of the same shot count once.

    Returns
    -------
    tuple of tuple of Path
        In the order of their first pictures.
    """
    heads = {shot.path: read_head(shot.path) for shot in group_shots(paths)}
    timed: list[FrameReport] = []
    alone: list[list[Path]] = []
    untimed: defaultdict[tuple[Path, BodyKey], list[Path]] = defaultdict(list)
    for path, head in heads.items():
        if head is None:
            alone.append([path])
        elif head.exposure.taken_at is None:
            untimed[path.parent, body_key(head.camera)].append(path)
        else:
            timed.append(
                FrameReport(
                    file=str(path), state="judged", camera=head.camera, exposure=head.exposure
                )
            )
    groups = [[Path(timed[index].file) for index in group] for group in group_bursts(timed)]
    groups += [*untimed.values(), *alone]
    return tuple(sorted(map(tuple, groups), key=lambda group: canonical(group[0])))


def read_head(path: Path) -> Metadata | None:
    """Read what a picture says about itself; None for a file that cannot be used."""
    try:
        return read_metadata(path).metadata
    except LoadError:
        return None


def judge_burst(
    paths: Sequence[Path],
    settings: Settings,
    *,
    label: str | None = None,
    jobs: int | None = None,
    on_done: Callable[[Path], None] | None = None,
    known_stack: Stack | None = None,
) -> FrameReport:
    """Judge frames of one state as one.

    Parameters
    ----------
    paths : sequence of Path
        At least one picture.
    label : str, optional
        What the state is called; by default the first file's name.
    jobs : int, optional
        Frames looked at at the same time, and threads of all of them together.
    on_done : callable, optional
        Called in this thread with each file as it is done.
    known_stack : Stack, optional
        Stack distance that is known of the body.

    Returns
    -------
    FrameReport
        Of the mean of the frames; of a single frame when only one can be used. Notes say
        what was left out, and what it rests on where a fault kept the mean from being judged.
    """
    shots = [shot.path for shot in group_shots(paths)]
    jobs = jobs or default_jobs()
    sights = _seen(shots, settings, jobs, on_done, known_stack)
    chosen = choose(sights)
    if not chosen:
        return replace(sights[-1].report, file=label or sights[-1].report.file)
    with limited_threads(jobs):
        report, used = _combined(chosen, settings, known_stack)
    name = label or next(sight.report.file for sight in sights if sight in used)
    return replace(report, file=name, notes=(*report.notes, *left_out(sights, used)))


def judge_bursts(
    paths: Iterable[Path],
    settings: Settings,
    *,
    jobs: int | None = None,
    on_done: Callable[[Path], None] | None = None,
) -> tuple[FrameReport, ...]:
    """Judge pictures burst by burst; each burst is one report, called by its first file."""
    return judge_found(find_bursts(paths), settings, jobs=jobs, on_done=on_done)


def judge_found(
    bursts: Iterable[Sequence[Path]],
    settings: Settings,
    *,
    jobs: int | None = None,
    on_done: Callable[[Path], None] | None = None,
) -> tuple[FrameReport, ...]:
    """Judge bursts that were found already; otherwise as `judge_bursts`."""
    return tuple(judge_burst(burst, settings, jobs=jobs, on_done=on_done) for burst in bursts)


@one_blas_thread()  # from before the first worker on, as in `motemap.pipeline.batch`
def _seen(
    paths: list[Path],
    settings: Settings,
    jobs: int,
    on_done: Callable[[Path], None] | None,
    known_stack: Stack | None,
) -> list[Sight]:
    n_threads = max(1, jobs // len(paths))

    def see(number: int, path: Path) -> Sight:
        try:
            with limited_threads(n_threads):
                look = look_at(path, settings, known_stack=known_stack)
        except Exception as error:
            LOGGER.debug("Fault while judging %s", path, exc_info=True)
            look = Look(report=failed(str(path), error))
        return Sight.of(path, look, keeps_ground=number == 0)

    sights = []
    workers = ThreadPoolExecutor(max_workers=jobs)
    try:
        waiting = [workers.submit(see, *numbered) for numbered in enumerate(paths)]
        for path, future in zip(paths, waiting, strict=True):
            sights.append(future.result())
            if on_done is not None:
                on_done(path)
    finally:
        # Not waited for: who stops the program does not want the rest of the burst judged.
        workers.shutdown(wait=False, cancel_futures=True)
    return sights


def _combined(
    sights: list[Sight], settings: Settings, known_stack: Stack | None
) -> tuple[FrameReport, list[Sight]]:
    """Make one report of several frames; a fault on the way costs no more than it has to.

    Returns
    -------
    report : FrameReport
    used : list of Sight
        What was combined: all, or those fit to judge from by themselves where there is no mean. Where a
        fault kept even those from it, the report rests on one of them, and a note says on which.
    """
    if len(sights) == 1:
        return sights[0].report, sights
    fault = None
    try:
        mean = _averaged(sights[:MOST_FRAMES], settings, known_stack)
    except Exception as error:
        LOGGER.debug("Fault in the mean of %s and others", sights[0].path, exc_info=True)
        fault = fault_words(error)
    else:
        if mean is not None:
            return mean, sights
    voters = [sight for sight in sights if sight.is_judged] or sights
    return _voted([sight.report for sight in voters[:MOST_FRAMES]], settings, fault), voters


def _voted(reports: list[FrameReport], settings: Settings, fault: str | None) -> FrameReport:
    """Combine what frames show, each judged by itself, and say which fault kept their mean from it."""
    if len(reports) > 1:
        try:
            combined = combine_reports(reports, work=settings.work)
            report = judge_again(with_stack_told(combined, reports[0].stack), settings.work)
        except Exception as error:
            LOGGER.debug("Fault while combining %s and others", reports[0].file, exc_info=True)
            fault = fault_words(error)
        else:
            told = () if fault is None else (MEAN_FAULT.format(fault=fault),)
            return _noted(report, TOGETHER.format(n_frames=len(reports)), *told)
    best = min(reports, key=smallest_shown)
    alone = () if fault is None else (VOTE_FAULT.format(fault=fault, file=best.file),)
    return _noted(best, *alone)


def _noted(report: FrameReport, *notes: str) -> FrameReport:
    return replace(report, notes=(*report.notes, *notes))


def _averaged(
    sights: list[Sight], settings: Settings, known_stack: Stack | None
) -> FrameReport | None:
    """Judge the mean of frames; None for those that do not lie over each other."""
    reports = [sight.report for sight in sights]
    flats = [sight.flat for sight in sights if sight.flat is not None]
    known = next((sight.ground for sight in sights if sight.ground is not None), None)
    ground = known or Ground.of(look_at(sights[0].path, settings))
    if ground is None or len(flats) < len(sights) or not are_aligned(reports):
        return None
    mean = combine_flats(flats, ground.background)
    report = judge_flat(
        _quieter(ground.frame, mean, flats), mean, settings, known_stack=known_stack
    ).report
    present = times_present(flats, report.spots, ground.frame.sensor.pitch_um)
    far = [times_on_lens(reports, spot) for spot in report.spots]
    counts = [
        n_far if spot.layer == "lens side" else n_near
        for spot, n_near, n_far in zip(report.spots, present, far, strict=True)
    ]
    together = TOGETHER.format(n_frames=len(flats))
    return _noted(_without_odd(report, counts, len(flats), settings), together)


def _quieter(frame: Frame, mean: FlatFrame, flats: Sequence[LightFlat]) -> Frame:
    """Give a frame the noise of its burst's mean, for the report."""
    fine_noise_frac = frame.plane.fine_noise_frac * noise_factor(mean.contrast, flats)
    return replace(frame, plane=replace(frame.plane, fine_noise_frac=fine_noise_frac))


def _without_odd(
    report: FrameReport, present: Sequence[int], n_frames: int, settings: Settings
) -> FrameReport:
    """Drop the spots that too few frames show."""
    # Shadows from the lens side are counted by what each frame lists, where faint ones may be missed.
    most, sure = n_frames // 2 + 1, least_times(n_frames)
    pairs = zip(report.spots, present, strict=True)
    kept = [
        spot for spot, n_times in pairs if n_times >= (most if spot.layer == "lens side" else sure)
    ]
    if len(kept) == len(report.spots):
        return report
    spots = tuple(replace(spot, id=number) for number, spot in enumerate(kept, start=1))
    return judge_again(replace(report, spots=spots), settings.work)
