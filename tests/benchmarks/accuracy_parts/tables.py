"""The figures as text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from accuracy_parts.frames import FrameScore

Figures = dict[str, Any]
HEAD = (
    "row                    frames   found           bar  false/frame  bar   centre px     "
    "depth      width      area       refused"
)


def frame_line(score: FrameScore) -> str:
    """Return one line about one frame."""
    marks = [mark for mark in score.marks if mark.is_counting]
    n_found = sum(mark.is_found for mark in marks)
    causes = ", ".join(sorted({false.cause for false in score.false_marks}))
    return (
        f"{score.row} / {score.variant} / seed {score.seed}: {score.state}, "
        f"{n_found} of {len(marks)} found, {len(score.false_marks)} false"
        f"{f' ({causes})' if causes else ''}, {score.draw_s:.1f} + {score.analyse_s:.1f} s"
    )


def all_tables(results: Figures) -> str:
    """Return every table of a run that has something in it."""
    parts = [HEAD, *(_row_line(row, results["bars"][row["name"]]) for row in results["rows"])]
    parts.append(_row_line(results["barred"], (None, 0.1)))
    if results["contests"]:
        parts.extend(["", *contest_lines(results["contests"])])
    if results["distances"]:
        parts.extend(["", *map(_distance_line, results["distances"])])
        parts.extend(["", *map(_promise_line, results["promises"])])
    parts.extend(_rough_line(score) for score in results["rough"])
    parts.extend(_odd_line(score) for score in results["odd"])
    parts.extend(["", "where it failed worst:", *results["worst"]])
    return "\n".join(parts)


def percent(share: float | None) -> str:
    """Return a share as a percentage, a dash where there is none."""
    return "-" if share is None else f"{100 * share:.1f} %"


def pixels(errors: Figures | None) -> str:
    """Return median and 95 % of an error in pixels."""
    return "-" if errors is None else f"{errors['median']:.2f} / {errors['most']:.2f}"


def relative(errors: Figures | None) -> str:
    """Return the median error and the bias of a quantity in per cent."""
    if errors is None:
        return "-"
    return f"{100 * errors['median']:.0f} % ({100 * errors['bias']:+.0f})"


def _row_line(row: Figures, bars: tuple[float | None, float]) -> str:
    found = f"{row['n_found']}/{row['n_counting']}"
    return (
        f"{row['name']:22s} {row['n_frames']:6d}  {found:>9s} {percent(row['recall_frac']):>8s} "
        f"{percent(bars[0]):>7s} {row['false_per_frame']:8.2f} {bars[1]:6.1f}   "
        f"{pixels(row['offset_px']):12s} {relative(row['depth']):10s} {relative(row['width']):10s} "
        f"{relative(row['area']):10s} {row['n_reshoot']}"
    )


def contest_lines(contests: list[Figures]) -> list[str]:
    """Return recall at equal false marks, pieces counted / forgiven, row by row."""
    names = list(contests[0]["kind"])
    lines = ["recall at equal false marks, pieces of one mark counted / forgiven", ""]
    lines.append(f"{'':22s}{'motemap':>10s}" + "".join(f"{name:>20s}" for name in names))
    for one in contests:
        cells = (f"{_equal(one['strict'][name])} / {_equal(one['kind'][name])}" for name in names)
        lead = "" if not one["beaten_by"] else "   behind " + ", ".join(one["beaten_by"])
        own = percent(one["own_recall_frac"])
        lines.append(f"{one['row']:22s}{own:>10s}" + "".join(f"{c:>20s}" for c in cells) + lead)
    return lines


def _equal(equal: Figures) -> str:
    if equal["recall_frac"] is None:
        return f"({equal['least_false']})"
    return percent(equal["recall_frac"])


def _distance_line(one: Figures) -> str:
    return (
        f"{one['name']:22s} half at {100 * one['half_depth_frac']:.2f} % deep, 95 % at "
        f"{100 * one['most_depth_frac']:.2f} %; over the limit {one['half_ratio']:.2f}, "
        f"{one['most_ratio']:.2f}; file holds {one['stored_share']:.2f}; {one['n_false']} false"
    )


def _promise_line(one: Figures) -> str:
    return (
        f"{one['name']:22s} promised {one['particle_um']:.1f} um, "
        f"{100 * one['depth_frac']:.2f} % deep (true {100 * one['true_depth_frac']:.2f} %): "
        f"{one['n_found']} of {one['n_specks']} found, {percent(one['found_frac'])}"
    )


def _rough_line(score: Figures) -> str:
    return (
        f"{score['name']}: {score['state']}, {score['n_found']} of {score['n_marks']} found, "
        f"{score['n_false']} false"
    )


def _odd_line(score: Figures) -> str:
    right = "right" if score["is_right"] else "WRONG"
    failed = ", ".join(score["failed"]) or "nothing"
    return f"{score['name']}: {score['state']}, failed {failed}: {right}"
