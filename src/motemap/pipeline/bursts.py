"""Frames of one state, found, judged together and reported as one."""

from __future__ import annotations

import logging
import math
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from motemap.blas import one_blas_thread
from motemap.bodies import BodyKey, body_key
from motemap.burst import (
    LightFlat,
    are_alike,
    combine_flats,
    combine_reports,
    group_bursts,
    lighten,
    noise_factor,
    times_on_lens,
    times_present,
)
from motemap.errors import LoadError, fault_words
from motemap.load import read_metadata
from motemap.matching import mark_table, register
from motemap.pipeline.again import judge_again
from motemap.pipeline.batch import default_jobs
from motemap.pipeline.frame import failed, look_at
from motemap.pipeline.judging import Look, judge_flat
from motemap.pipeline.shots import group_shots
from motemap.pipeline.walk import canonical
from motemap.records import FrameReport
from motemap.strips import limited_threads

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from motemap.records import FlatFrame, Frame, Metadata, Stack, Windows
    from motemap.settings import Settings

LOGGER = logging.getLogger(__name__)

MOST_FRAMES: Final = 8
"""Frames of one burst that are combined: the gain of more is small, their memory is not."""

ALIGNED_PX: Final = 0.75
"""Frames whose marks lie nearer than this everywhere are averaged as they are [px]."""

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
    usable = [sight for sight in sights if sight.report.state == "judged"]
    if not usable:
        return replace(sights[-1].report, file=label or sights[-1].report.file)
    chosen = _largest_alike(usable)
    notes = _left_out([sight.report for sight in sights], [sight.report for sight in chosen])
    with limited_threads(jobs):
        report = _combined(chosen[:MOST_FRAMES], settings, known_stack)
    return replace(report, file=label or chosen[0].report.file, notes=(*report.notes, *notes))


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sight:
    """One frame judged by itself, with as much of it as its burst needs.

    `ground` is kept of the first frame only: whole frames of a long burst would fill memory.
    """

    path: Path
    report: FrameReport
    flat: LightFlat | None
    ground: _Ground | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """What a mean is judged on: a frame of the burst, and its background."""

    frame: Frame
    background: Windows


def _ground_of(look: Look) -> _Ground | None:
    if look.frame is None or look.flat is None:
        return None
    return _Ground(frame=look.frame, background=look.flat.background)


@one_blas_thread()  # from before the first worker on, as in `motemap.pipeline.batch`
def _seen(
    paths: list[Path],
    settings: Settings,
    jobs: int,
    on_done: Callable[[Path], None] | None,
    known_stack: Stack | None,
) -> list[_Sight]:
    n_threads = max(1, jobs // len(paths))

    def see(number: int, path: Path) -> _Sight:
        try:
            with limited_threads(n_threads):
                look = look_at(path, settings, known_stack=known_stack)
        except Exception as error:
            LOGGER.debug("Fault while judging %s", path, exc_info=True)
            look = Look(report=failed(str(path), error))
        return _Sight(
            path=path,
            report=look.report,
            flat=None if look.flat is None else lighten(look.flat),
            ground=_ground_of(look) if number == 0 else None,
        )

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


def _largest_alike(sights: list[_Sight]) -> list[_Sight]:
    """Frames that can be combined: the largest set, of equals the one that shows most."""
    sets: list[list[_Sight]] = []
    for sight in sights:
        home = next((each for each in sets if are_alike(each[0].report, sight.report)), None)
        if home is None:
            sets.append([sight])
        else:
            home.append(sight)

    def rank(each: list[_Sight]) -> tuple[float, float]:
        return -len(each), _smallest_shown(each[0].report)

    return min(sets, key=rank)


def _left_out(all_frames: list[FrameReport], used: list[FrameReport]) -> tuple[str, ...]:
    notes = []
    if len(used) > MOST_FRAMES:
        notes.append(f"{len(used) - MOST_FRAMES} more frames of the burst were left out.")
    for frame in all_frames:
        if frame not in used:
            why = "differs in size or aperture" if frame.state == "judged" else "cannot be used"
            notes.append(f"{frame.file} {why} and was left out.")
    return tuple(notes)


def _combined(sights: list[_Sight], settings: Settings, known_stack: Stack | None) -> FrameReport:
    """Make one report of several frames; a fault on the way costs no more than it has to."""
    reports = [sight.report for sight in sights]
    if len(sights) == 1:
        return reports[0]
    together = f"Combined from {len(sights)} frames."
    try:
        return _noted(_averaged(sights, settings, known_stack), together)
    except Exception as error:
        LOGGER.debug("Fault in the mean of %s and others", sights[0].path, exc_info=True)
        fault = MEAN_FAULT.format(fault=fault_words(error))
    try:
        return _noted(
            judge_again(combine_reports(reports, work=settings.work), settings.work),
            together,
            fault,
        )
    except Exception as error:
        LOGGER.debug("Fault while combining %s and others", sights[0].path, exc_info=True)
        best = min(reports, key=_smallest_shown)
        return _noted(best, VOTE_FAULT.format(fault=fault_words(error), file=best.file))


def _noted(report: FrameReport, *notes: str) -> FrameReport:
    return replace(report, notes=(*report.notes, *notes))


def _smallest_shown(report: FrameReport) -> float:
    """Return the smallest particle that a frame could have shown [um]."""
    return report.sensitivity.smallest_particle_um or math.inf


def _averaged(sights: list[_Sight], settings: Settings, known_stack: Stack | None) -> FrameReport:
    """Judge the mean of frames; those that do not lie over each other are voted on."""
    reports = [sight.report for sight in sights]
    flats = [sight.flat for sight in sights if sight.flat is not None]
    ground = sights[0].ground or _ground_of(look_at(sights[0].path, settings))
    if ground is None or len(flats) < len(sights) or not _are_aligned(reports):
        return judge_again(combine_reports(reports, work=settings.work), settings.work)
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
    return _without_odd(report, counts, len(flats), settings)


def _quieter(frame: Frame, mean: FlatFrame, flats: Sequence[LightFlat]) -> Frame:
    """Give a frame the noise of its burst's mean, for the report."""
    fine_noise_frac = frame.plane.fine_noise_frac * noise_factor(mean.contrast, flats)
    return replace(frame, plane=replace(frame.plane, fine_noise_frac=fine_noise_frac))


def _without_odd(
    report: FrameReport, present: Sequence[int], n_frames: int, settings: Settings
) -> FrameReport:
    """Drop the spots that most frames do not show."""
    pairs = zip(report.spots, present, strict=True)
    kept = [spot for spot, n_times in pairs if 2 * n_times > n_frames]
    if len(kept) == len(report.spots):
        return report
    spots = tuple(replace(spot, id=number) for number, spot in enumerate(kept, start=1))
    return judge_again(replace(report, spots=spots), settings.work)


def _are_aligned(frames: list[FrameReport]) -> bool:
    """Whether the marks lie at the same places in all frames, as far as marks can tell."""
    first = mark_table(frames[0])
    reach_px = math.hypot(first.half_width_px, first.half_height_px)
    for frame in frames[1:]:
        found = register(first, mark_table(frame))
        if not found.is_known:
            continue
        shift_px = math.hypot(found.shift_x_px or 0.0, found.shift_y_px or 0.0)
        if shift_px + abs((found.scale or 1.0) - 1.0) * reach_px > ALIGNED_PX:
            return False
    return True
