"""Gathers the scores of many frames into the figures of one row."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from accuracy_parts.frames import FrameScore, MarkScore
    from accuracy_parts.rows import Row

DEPTH_BANDS = (0.0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16, 1.01)
SNR_BANDS = (0.0, 6.0, 9.0, 12.0, 16.0, 24.0, 48.0, float("inf"))
CLEAR_SNR = 12.0
MISSED_WRITTEN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Size of the errors of one quantity: median of the absolute error, 95 % of them, bias."""

    n_marks: int
    median: float
    most: float
    bias: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """The figures of one row.

    Parameters
    ----------
    n_counting, n_found : int
        Marks that had to be found, and those that were.
    n_merged : int
        Missed because taken together with a neighbour.
    n_reshoot : int
        Frames that were refused.
    causes : dict
        Number of false marks by cause.
    """

    name: str
    n_frames: int
    n_counting: int
    n_found: int
    n_merged: int
    n_false: int
    n_reshoot: int
    n_lens: int
    n_lens_named: int
    causes: dict[str, int]
    offset_px: Errors | None
    depth: Errors | None
    width: Errors | None
    area: Errors | None
    analyse_s: float

    @property
    def recall_frac(self) -> float | None:
        """Share of counting marks that was found."""
        return self.n_found / self.n_counting if self.n_counting else None

    @property
    def false_per_frame(self) -> float:
        """False marks a frame."""
        return self.n_false / self.n_frames if self.n_frames else 0.0


def tally(name: str, scores: Sequence[FrameScore]) -> Tally:
    """Return the figures of the frames of one row."""
    marks = [mark for score in scores for mark in score.marks if mark.is_counting]
    causes = Counter(false.cause for score in scores for false in score.false_marks)
    return Tally(
        name=name,
        n_frames=len(scores),
        n_counting=len(marks),
        n_found=sum(mark.is_found for mark in marks),
        n_merged=sum(mark.is_merged for mark in marks),
        n_false=causes.total(),
        n_reshoot=sum(score.state != "judged" for score in scores),
        n_lens=sum(score.n_lens for score in scores),
        n_lens_named=sum(score.n_lens_named for score in scores),
        causes=dict(causes.most_common()),
        offset_px=_errors(mark.offset_px for mark in marks),
        depth=_errors(mark.depth_error for mark in marks),
        width=_errors(mark.width_error for mark in marks),
        area=_errors(mark.area_error for mark in marks),
        analyse_s=float(np.median([score.analyse_s for score in scores])) if scores else 0.0,
    )


def tallies(rows: Iterable[Row], scores: Sequence[FrameScore]) -> tuple[Tally, ...]:
    """Return one tally a row that has frames, in the order of the rows."""
    by_row = {row.name: [score for score in scores if score.row == row.name] for row in rows}
    return tuple(tally(name, some) for name, some in by_row.items() if some)


def _errors(values: Iterable[float | None]) -> Errors | None:
    known = np.array([value for value in values if value is not None])
    if known.size == 0:
        return None
    sizes = np.abs(known)
    return Errors(
        n_marks=known.size,
        median=float(np.median(sizes)),
        most=float(np.percentile(sizes, 95)),
        bias=float(np.median(known)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Recall in one band of depth or of signal to noise."""

    low: float
    high: float
    n_marks: int
    n_found: int


def recall_by_depth(scores: Sequence[FrameScore]) -> tuple[Band, ...]:
    """Return recall by depth, of marks clear of the noise."""
    marks = [mark for score in scores for mark in score.marks if mark.snr >= CLEAR_SNR]
    return _bands(DEPTH_BANDS, marks, [mark.depth_frac for mark in marks])


def recall_by_snr(scores: Sequence[FrameScore]) -> tuple[Band, ...]:
    """Return recall by signal to noise, of marks of every depth."""
    marks = [mark for score in scores for mark in score.marks]
    return _bands(SNR_BANDS, marks, [mark.snr for mark in marks])


def _bands(
    limits: Sequence[float], marks: Sequence[MarkScore], values: Sequence[float]
) -> tuple[Band, ...]:
    bands = []
    for low, high in itertools.pairwise(limits):
        inside = [mark for mark, value in zip(marks, values, strict=True) if low <= value < high]
        n_found = sum(mark.is_found for mark in inside)
        bands.append(Band(low=low, high=high, n_marks=len(inside), n_found=n_found))
    return tuple(bands)
