"""Everything a run found out, as plain values: what the JSON file holds and the page shows."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from accuracy_parts.rivals import contest, is_piece
from accuracy_parts.tally import recall_by_depth, recall_by_snr, tallies, tally
from accuracy_parts.worst import worst_lines
from publishing import circumstances

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rough_parts.judging import OddScore, RoughScore

    from accuracy_parts.faint import Promise
    from accuracy_parts.frames import FrameScore
    from accuracy_parts.limit import Distance
    from accuracy_parts.rows import Row
    from accuracy_parts.running import Outcome
    from accuracy_parts.tally import Band

RESULTS_VERSION = 1
PACKAGES = (
    "motemap",
    "numpy",
    "scipy",
    "rawpy",
    "pillow",
    "tifffile",
    "sep",
    "photutils",
    "scikit-image",
    "opencv-python-headless",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What a run brought.

    Parameters
    ----------
    rows : sequence of Row
        The rows of the grid that were drawn.
    outcomes : sequence of Outcome
    contest : sequence of Outcome
        Frames that other detectors saw as well.
    faint : sequence of (Distance or None, Promise)
    rough, odd : sequence
        Rough frames and odd pictures, if they were judged.
    """

    size: str
    seeds: tuple[int, ...]
    command: str
    rows: Sequence[Row]
    outcomes: Sequence[Outcome]
    contest: Sequence[Outcome] = ()
    faint: Sequence[tuple[Distance | None, Promise]] = ()
    rough: Sequence[RoughScore] = ()
    odd: Sequence[OddScore] = ()


def results_of(run: Run) -> dict[str, Any]:
    """Return all figures of a run as plain values."""
    scores = [outcome.score for outcome in run.outcomes]
    own = tallies(run.rows, scores)
    barred = {row.name for row in run.rows if row.recall_bar_frac is not None or row.false_bar == 0}
    total = tally("all", [score for score in scores if score.row in barred])
    causes = Counter(false.cause for score in scores for false in score.false_marks)
    return {
        "results_version": RESULTS_VERSION,
        "made": _made(run),
        "bars": {row.name: [row.recall_bar_frac, row.false_bar] for row in run.rows},
        "rows": [_with_rates(asdict(one), one) for one in own],
        "barred": _with_rates(asdict(total), total),
        "by_depth": _bands(recall_by_depth, scores, barred),
        "by_snr": _bands(recall_by_snr, scores, barred),
        "causes": dict(causes.most_common()),
        "contests": _contests(run),
        "distances": [_distance(distance) for distance, _ in run.faint if distance],
        "promises": [asdict(p) | {"found_frac": p.found_frac} for _, p in run.faint],
        "rough": [_rough(score) for score in run.rough],
        "odd": [asdict(score) | {"failed": sorted(score.failed)} for score in run.odd],
        "worst": worst_lines(scores, run.size),
    }


def _made(run: Run) -> dict[str, Any]:
    """Return how, when and with what the figures came about."""
    return {
        "command": run.command,
        "size": run.size,
        "seeds": list(run.seeds),
        **circumstances(PACKAGES),
    }


def _with_rates(plain: dict[str, Any], one: Any) -> dict[str, Any]:
    return plain | {"recall_frac": one.recall_frac, "false_per_frame": one.false_per_frame}


def _bands(
    recall: Callable[[Sequence[FrameScore]], tuple[Band, ...]],
    scores: Sequence[FrameScore],
    barred: set[str],
) -> dict[str, list[dict[str, Any]]]:
    """Return recall in bands: of the rows with a bar, and of the rougher ones."""
    parts = {
        "rows with a bar": [score for score in scores if score.row in barred],
        "rougher rows": [score for score in scores if score.row not in barred],
    }
    return {
        name: [_finite(asdict(band)) for band in recall(some)]
        for name, some in parts.items()
        if some
    }


def _finite(band: dict[str, Any]) -> dict[str, Any]:
    """JSON knows no infinity: an open band ends with None."""
    return band | {"high": None} if band["high"] == float("inf") else band


def _contests(run: Run) -> list[dict[str, Any]]:
    """Return the comparison with the other detectors, row by row."""
    scores = [outcome.score for outcome in run.contest]
    rivals = [rival for outcome in run.contest for rival in outcome.rivals]
    plain = []
    for own in tallies(run.rows, scores):
        some = [score for score in scores if score.row == own.name]
        n_wrong = sum(not is_piece(mark) for score in some for mark in score.false_marks)
        one = contest(own, n_wrong, rivals)
        if one is not None:
            plain.append(asdict(one) | {"beaten_by": list(one.beaten_by)})
    return plain


def _distance(one: Distance) -> dict[str, Any]:
    return {
        "name": one.name,
        "n_specks": one.n_specks,
        "n_false": one.n_false,
        "half_depth_frac": one.half_depth_frac,
        "most_depth_frac": one.most_depth_frac,
        "stored_share": one.stored_share,
        "limit_half_snr": one.limit.half_snr,
        "half_ratio": one.half_ratio,
        "most_ratio": one.most_ratio,
        "photosite_ratio": one.photosite_ratio,
    }


def _rough(score: RoughScore) -> dict[str, Any]:
    return {
        "name": score.name,
        "state": score.state,
        "n_marks": score.n_marks,
        "n_found": score.n_found,
        "n_false": len(score.false),
    }
