"""Where it fails worst, with what is needed to draw the frame again."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from accuracy_parts.causes import FalseMark
    from accuracy_parts.frames import FrameScore, MarkScore

WORST_SHOWN = 40


def worst_lines(scores: Sequence[FrameScore], size: str, limit: int = WORST_SHOWN) -> list[str]:
    """Return the frames with failures, worst first, each with its missed and false marks.

    Parameters
    ----------
    scores : sequence of FrameScore
    size : str
        Size of the grid, needed to draw a frame again.
    limit : int
        Most frames that are listed.
    """
    failed = [score for score in scores if failures(score) > 0]
    failed.sort(key=failures, reverse=True)
    lines: list[str] = []
    for score in failed[:limit]:
        name = f"{score.row}/{score.variant}/{score.seed}"
        state = "" if score.state == "judged" else f" ({score.state})"
        lines.append(f"{name}{state}: --size {size} --redraw '{name}'")
        lines.extend(f"  missed {_missed(mark)}" for mark in _missed_marks(score))
        lines.extend(f"  false  {_false(mark)}" for mark in score.false_marks)
    return lines


def failures(score: FrameScore) -> int:
    """Return how many marks were missed or false; a frame refused counts as ten."""
    refused = 10 if score.state != "judged" else 0
    return len(_missed_marks(score)) + len(score.false_marks) + refused


def _missed_marks(score: FrameScore) -> list[MarkScore]:
    missed = [mark for mark in score.marks if mark.is_counting and not mark.is_found]
    return sorted(missed, key=lambda mark: -mark.snr)


def _missed(mark: MarkScore) -> str:
    return (
        f"{mark.form} at column {mark.col_px:.1f}, row {mark.row_px:.1f}: "
        f"depth {100 * mark.depth_frac:.2f} %, SNR {mark.snr:.1f}, width {mark.width_px:.1f} px"
        f"{', merged with a neighbour' if mark.is_merged else ''}"
        f"{', ' + mark.neighbour if mark.neighbour else ''}"
    )


def _false(mark: FalseMark) -> str:
    depth = "-" if mark.depth_frac is None else f"{100 * mark.depth_frac:.2f} %"
    width = "-" if mark.width_px is None else f"{mark.width_px:.1f} px"
    snr = "-" if mark.snr is None else f"{mark.snr:.1f}"
    return (
        f"{mark.cause} at column {mark.col_px:.1f}, row {mark.row_px:.1f}: "
        f"depth {depth}, SNR {snr}, width {width}, called {mark.kind}, {mark.layer}"
    )
