"""Draws one frame of the grid through a file, has it analysed, and scores the report."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from accuracy_parts.causes import FalseMark, false_marks
from accuracy_parts.scoring import Found, Group, Match, found_in, is_counting, match
from accuracy_parts.truths import Truth, truths_of
from motemap.pipeline.frame import look_at
from motemap.pipeline.judging import Look
from motemap.records import ErrorNote, FrameReport
from motemap.settings import Settings
from motemap.synth.frame import DrawnFrame, draw_frame, make_marks
from motemap.synth.store import SUFFIXES, write_frame

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from accuracy_parts.rows import Job
    from motemap.records import Plane
    from motemap.synth.marks import Mark
    from motemap.synth.spec import FrameSpec

LIGHT_REACH_PX = 24
BRIGHT_PERCENTILE = 98.0
NEAR_WIDTHS = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sitting:
    """A drawn frame, what is true of it, and its file."""

    drawn: DrawnFrame
    truths: tuple[Truth, ...]
    path: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkScore:
    """One true mark - or several too near to part - and what was said about it.

    Errors are reported minus true, as a share of the true value; None when it was not found,
    or when there is nothing to compare.
    """

    form: str
    row_px: float
    col_px: float
    depth_frac: float
    snr: float
    width_px: float
    is_counting: bool
    is_found: bool
    is_merged: bool = False
    neighbour: str | None = None
    offset_px: float | None = None
    depth_error: float | None = None
    width_error: float | None = None
    area_error: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameScore:
    """How one frame was judged."""

    row: str
    variant: str
    seed: int
    state: str
    marks: tuple[MarkScore, ...]
    false_marks: tuple[FalseMark, ...]
    n_lens: int = 0
    n_lens_named: int = 0
    smallest_depth_frac: float | None = None
    smallest_particle_um: float | None = None
    draw_s: float = 0.0
    analyse_s: float = 0.0


def draw_to_file(spec: FrameSpec, path: Path, marks: Sequence[Mark] | None = None) -> Sitting:
    """Draw a frame, write it, and return it with its truth; the file's ending is added.

    Parameters
    ----------
    spec : FrameSpec
    path : Path
        Where to write, without the ending.
    marks : sequence of Mark, optional
        Marks to lay instead of random ones.
    """
    laid = make_marks(spec) if marks is None else tuple(marks)
    drawn = draw_frame(spec, laid)
    whole = path.with_name(path.name + SUFFIXES[spec.file.format])
    write_frame(drawn, whole)
    return Sitting(drawn=drawn, truths=truths_of(drawn, laid), path=whole)


def with_light(truths: Sequence[Truth], plane: Plane) -> tuple[Truth, ...]:
    """Return the truths with the light at each mark filled in."""
    coarse = plane.light[::8, ::8]
    top = float(np.percentile(coarse, BRIGHT_PERCENTILE))
    reach = max(1, LIGHT_REACH_PX // plane.bin_px)

    def light_at(truth: Truth) -> float:
        row, col = (max(int(at / plane.bin_px), 0) for at in (truth.row_px, truth.col_px))
        window = plane.light[max(row - reach, 0) : row + reach, max(col - reach, 0) : col + reach]
        return float(np.percentile(window, 75)) / top if window.size else 0.0

    return tuple(replace(truth, light_frac=light_at(truth)) for truth in truths)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A frame of the grid, as drawn and as judged."""

    sitting: Sitting
    look: Look
    score: FrameScore


def score_job(job: Job, folder: Path) -> Seen:
    """Draw one frame of the grid, have it analysed and score it; the file is removed."""
    started = time.perf_counter()
    sitting = draw_to_file(job.spec, folder / f"frame-{os.getpid()}")
    drawn_at = time.perf_counter()
    look = look_safely(sitting.path)
    analyse_s = time.perf_counter() - drawn_at
    sitting.path.unlink()
    if look.frame is not None:
        sitting = replace(sitting, truths=with_light(sitting.truths, look.frame.plane))
    score = score_report(sitting, look.report, job)
    timed = replace(score, draw_s=drawn_at - started, analyse_s=analyse_s)
    return Seen(sitting=sitting, look=look, score=timed)


def look_safely(path: Path) -> Look:
    """Analyse a frame; a fault of the tool is a refused frame here, so that the rest goes on."""
    try:
        return look_at(path, Settings())
    except (ArithmeticError, LookupError, TypeError, ValueError) as fault:
        note = ErrorNote(cause=f"{type(fault).__name__}: {fault}", repair="Mend the tool.")
        return Look(report=FrameReport(file=path.name, state="unreadable", error=note))


def score_report(sitting: Sitting, report: FrameReport, job: Job) -> FrameScore:
    """Compare a report with the truth."""
    found, truths = found_in(report), sitting.truths
    result = match(truths, found)
    return FrameScore(
        row=job.row,
        variant=job.variant,
        seed=job.seed,
        state=report.state,
        marks=mark_scores(truths, found, result),
        false_marks=false_marks(sitting.drawn, truths, found, result),
        n_lens=sum(truth.is_lens for truth in truths),
        n_lens_named=len(result.lens_taken),
        smallest_depth_frac=report.sensitivity.smallest_depth_frac,
        smallest_particle_um=report.sensitivity.smallest_particle_um,
    )


def mark_scores(
    truths: Sequence[Truth], found: Sequence[Found], result: Match
) -> tuple[MarkScore, ...]:
    """Return what became of every true mark on the sensor, neighbours taken together."""
    scores = []
    matched = {at: found[index] for at, index in result.taken.items()}
    for at, group in enumerate(result.groups):
        members = [truths[index] for index in group.members]
        counting = [truth for truth in members if is_counting(truth)] or members
        chief = max(counting, key=lambda truth: truth.depth_frac)
        score = MarkScore(
            form=chief.form,
            row_px=chief.row_px,
            col_px=chief.col_px,
            depth_frac=chief.depth_frac,
            snr=chief.snr,
            width_px=chief.width_px,
            is_counting=group.is_counting,
            is_found=at in matched,
        )
        if at not in matched:
            merged = any(_is_within(chief, other) for other in matched.values())
            score = replace(score, is_merged=merged, neighbour=_neighbour(group, truths))
        elif len(members) == 1:
            score = _with_errors(score, chief, matched[at])
        scores.append(score)
    return tuple(scores)


def _neighbour(group: Group, truths: Sequence[Truth]) -> str | None:
    """Say what lies nearest to a missed mark, when it is near."""
    chief = truths[group.members[0]]
    place = np.array([chief.row_px]), np.array([chief.col_px])
    others = [truths[index] for index in range(len(truths)) if index not in group.members]
    apart = [
        (float(other.distance_px(*place)[0]) / max(other.width_px, chief.width_px), other)
        for other in others
    ]
    near = min(apart, key=lambda pair: pair[0], default=None)
    if near is None or near[0] > NEAR_WIDTHS:
        return None
    what = "lens dust" if near[1].is_lens else near[1].form
    return f"{near[0]:.1f} widths from a {what} {100 * near[1].depth_frac:.1f} % deep"


def _is_within(truth: Truth, mark: Found) -> bool:
    """Whether a mark that was taken for another one covers this one as well."""
    away_px = float(truth.distance_px(np.array([mark.row_px]), np.array([mark.col_px]))[0])
    reach_px = max(truth.width_px, mark.width_px or 0.0, 0.5 * (mark.length_px or 0.0))
    return away_px < reach_px


def _with_errors(score: MarkScore, truth: Truth, mark: Found) -> MarkScore:
    """Add how far off the report is; the centre and the width only of compact marks."""
    depth_error = _relative(mark.depth_frac, truth.depth_frac)
    if truth.form != "speck":
        return replace(score, depth_error=depth_error)
    return replace(
        score,
        offset_px=float(np.hypot(truth.row_px - mark.row_px, truth.col_px - mark.col_px)),
        depth_error=depth_error,
        width_error=_relative(mark.width_px, truth.width_px),
        area_error=_relative(mark.lost_area_px2, truth.lost_area_px2),
    )


def _relative(reported: float | None, true: float) -> float | None:
    return None if reported is None or true <= 0 else reported / true - 1.0
