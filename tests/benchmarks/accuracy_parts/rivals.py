"""Other people's detectors on the same frames: recall when each makes as few false marks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from accuracy_parts.others import Detector, Scene
from accuracy_parts.scoring import Found, match

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from accuracy_parts.causes import FalseMark
    from accuracy_parts.frames import Seen
    from accuracy_parts.tally import Tally
    from accuracy_parts.truths import Truth

ON_A_MARK_REACHES = 2.5
OWN_PIECES = ("fragment", "split", "lens dust")


@dataclass(frozen=True, slots=True, kw_only=True)
class RivalScore:
    """What one detector did in one frame at one threshold.

    Parameters
    ----------
    n_wrong : int
        Reports where nothing is.
    n_pieces : int
        Reports of pieces: a fibre or a disc reported more than once, lens dust as sensor dust.
    """

    row: str
    detector: str
    threshold: float
    n_counting: int
    n_found: int
    n_wrong: int
    n_pieces: int


def rival_scores(seen: Seen, detectors: Iterable[Detector]) -> list[RivalScore]:
    """Run every detector at every threshold on the plane this tool's loader made."""
    if seen.look.frame is None:
        return []
    scene = Scene.from_plane(seen.look.frame.plane)
    return [
        _score(seen, detector, threshold, detector.find(scene, threshold))
        for detector in detectors
        for threshold in detector.thresholds
    ]


def _score(seen: Seen, detector: Detector, threshold: float, found: Sequence[Found]) -> RivalScore:
    truths = seen.sitting.truths
    result = match(truths, found)
    n_pieces = _count_pieces([found[index] for index in result.extra], truths)
    return RivalScore(
        row=seen.score.row,
        detector=detector.name,
        threshold=threshold,
        n_counting=sum(group.is_counting for group in result.groups),
        n_found=sum(result.groups[at].is_counting for at in result.taken),
        n_wrong=len(result.extra) - n_pieces,
        n_pieces=n_pieces,
    )


def _count_pieces(extra: Sequence[Found], truths: Sequence[Truth]) -> int:
    if not extra:
        return 0
    rows = np.array([mark.row_px for mark in extra])
    cols = np.array([mark.col_px for mark in extra])
    is_piece = np.zeros(len(extra), dtype=bool)
    for truth in truths:
        is_piece |= truth.reach_ratio(rows, cols) < ON_A_MARK_REACHES
    return int(is_piece.sum())


def is_piece(mark: FalseMark) -> bool:
    """Return whether one of our own false marks is a piece of a mark that is there."""
    return any(word in mark.cause for word in OWN_PIECES) and "not there" not in mark.cause


@dataclass(frozen=True, slots=True, kw_only=True)
class Equal:
    """A detector's recall at the loosest threshold with no more false marks than ours.

    `recall_frac` is None where even the strictest threshold makes more; `least_false` then says
    how many.
    """

    recall_frac: float | None
    threshold: float | None
    least_false: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Contest:
    """One row of the comparison: our recall, and each other detector's at equal false marks.

    `strict` counts pieces as false marks, as the rest of this page does; `kind` forgives them.
    """

    row: str
    own_recall_frac: float
    n_false: int
    n_wrong: int
    strict: dict[str, Equal]
    kind: dict[str, Equal]

    @property
    def beaten_by(self) -> tuple[str, ...]:
        """Names of the detectors that find more than we do, even if only when forgiven."""
        return tuple(
            name
            for name, equal in self.kind.items()
            if equal.recall_frac is not None and equal.recall_frac > self.own_recall_frac + 1e-9
        )


def contest(own: Tally, n_wrong: int, scores: Sequence[RivalScore]) -> Contest | None:
    """Compare the detectors in one row; None where no mark had to be found."""
    rows = [score for score in scores if score.row == own.name]
    if own.recall_frac is None or not rows:
        return None
    names = list(dict.fromkeys(score.detector for score in rows))
    return Contest(
        row=own.name,
        own_recall_frac=own.recall_frac,
        n_false=own.n_false,
        n_wrong=n_wrong,
        strict={name: _equal(rows, name, own.n_false, pieces=True) for name in names},
        kind={name: _equal(rows, name, n_wrong, pieces=False) for name in names},
    )


def _equal(rows: Sequence[RivalScore], name: str, allowed: int, *, pieces: bool) -> Equal:
    """Return the best recall of a detector over its thresholds with so few false marks."""
    best: Equal | None = None
    fewest = None
    for threshold in sorted({score.threshold for score in rows if score.detector == name}):
        some = [s for s in rows if s.detector == name and s.threshold == threshold]
        n_false = sum(s.n_wrong + (s.n_pieces if pieces else 0) for s in some)
        fewest = n_false if fewest is None else min(fewest, n_false)
        recall = sum(s.n_found for s in some) / max(sum(s.n_counting for s in some), 1)
        if n_false <= allowed and (best is None or recall > (best.recall_frac or 0.0)):
            best = Equal(recall_frac=recall, threshold=threshold, least_false=n_false)
    return best or Equal(recall_frac=None, threshold=None, least_false=fewest or 0)
