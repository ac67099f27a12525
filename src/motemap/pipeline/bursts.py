"""Frames of one state, found, judged together and reported as one."""

from __future__ import annotations

import math
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from motemap.bodies import BodyKey, body_key
from motemap.burst import are_alike, combine_flats, combine_reports, group_bursts, times_present
from motemap.errors import LoadError
from motemap.load import read_metadata
from motemap.matching import mark_table, register
from motemap.pipeline.again import judge_again
from motemap.pipeline.batch import default_jobs
from motemap.pipeline.frame import Look, judge_flat, look_at
from motemap.pipeline.shots import group_shots
from motemap.pipeline.walk import canonical
from motemap.records import FrameReport

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from motemap.records import Metadata
    from motemap.settings import Settings

MOST_FRAMES: Final = 8
"""Frames of one burst that are combined: the gain of more is small, their memory is not."""

ALIGNED_PX: Final = 0.75
"""Frames whose marks lie nearer than this everywhere are averaged as they are [px]."""


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
) -> FrameReport:
    """Judge frames of one state as one.

    Parameters
    ----------
    paths : sequence of Path
        At least one picture.
    label : str, optional
        What the state is called; by default the first file's name.
    jobs : int, optional
        Frames looked at at the same time.
    on_done : callable, optional
        Called in this thread with each file as it is done.

    Returns
    -------
    FrameReport
        Of the mean of the frames; of a single frame when only one can be used. Notes say
        what was left out.
    """
    looks = _looked_at([shot.path for shot in group_shots(paths)], settings, jobs, on_done)
    usable = [look for look in looks if look.report.state == "judged"]
    if not usable:
        return replace(looks[-1].report, file=label or looks[-1].report.file)
    chosen = _largest_alike(usable)
    notes = _left_out([look.report for look in looks], [look.report for look in chosen])
    report = _combined(chosen[:MOST_FRAMES], settings)
    return replace(report, file=label or chosen[0].report.file, notes=(*report.notes, *notes))


def judge_bursts(
    paths: Iterable[Path],
    settings: Settings,
    *,
    jobs: int | None = None,
    on_done: Callable[[Path], None] | None = None,
) -> tuple[FrameReport, ...]:
    """Judge pictures burst by burst; each burst is one report, called by its first file."""
    return tuple(
        judge_burst(burst, settings, jobs=jobs, on_done=on_done) for burst in find_bursts(paths)
    )


def _looked_at(
    paths: list[Path],
    settings: Settings,
    jobs: int | None,
    on_done: Callable[[Path], None] | None,
) -> list[Look]:
    looks = []
    with ThreadPoolExecutor(max_workers=jobs or default_jobs()) as workers:
        waiting = [workers.submit(look_at, path, settings) for path in paths]
        for path, future in zip(paths, waiting, strict=True):
            looks.append(future.result())
            if on_done is not None:
                on_done(path)
    return looks


def _largest_alike(looks: list[Look]) -> list[Look]:
    """Frames that can be combined: the largest set, of equals the one that shows most."""
    sets: list[list[Look]] = []
    for look in looks:
        home = next((each for each in sets if are_alike(each[0].report, look.report)), None)
        if home is None:
            sets.append([look])
        else:
            home.append(look)

    def rank(each: list[Look]) -> tuple[float, float]:
        return -len(each), each[0].report.sensitivity.smallest_particle_um or math.inf

    return min(sets, key=rank)


def _left_out(all_frames: list[FrameReport], used: list[FrameReport]) -> tuple[str, ...]:
    kept = used[:MOST_FRAMES]
    notes = [f"Combined from {len(kept)} frames."] if len(kept) > 1 else []
    if len(used) > MOST_FRAMES:
        notes.append(f"{len(used) - MOST_FRAMES} more frames of the burst were left out.")
    for frame in all_frames:
        if frame not in used:
            why = "differs in size or aperture" if frame.state == "judged" else "cannot be used"
            notes.append(f"{frame.file} {why} and was left out.")
    return tuple(notes)


def _combined(looks: list[Look], settings: Settings) -> FrameReport:
    first = looks[0]
    flats = [look.flat for look in looks if look.flat is not None]
    if len(looks) == 1 or first.frame is None:
        return first.report
    if not _are_aligned([look.report for look in looks]) or len(flats) < len(looks):
        return judge_again(combine_reports([look.report for look in looks]), settings.work)
    report = judge_flat(first.frame, combine_flats(flats), settings).report
    pitch_um = first.frame.sensor.pitch_um
    present = times_present(flats, report.spots, pitch_um)
    kept = [
        spot
        for spot, n_times in zip(report.spots, present, strict=True)
        if 2 * n_times > len(flats)
    ]
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
