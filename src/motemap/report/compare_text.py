"""The comparison for a person: the story, what to do next, what happened to the marks."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Final

from motemap.changes import FATES
from motemap.report.counted import found_count, own_note, own_sign, showing_count
from motemap.report.plain import printable
from motemap.report.spot_table import spot_lines
from motemap.report.text import BOLD, COLOURS, INDENT, PLAIN, TextStyle
from motemap.report.words import (
    METHOD_PHRASES,
    UNKNOWN,
    VERDICT_WORDS,
    count,
    paragraph,
    say_f,
    shortened,
)

if TYPE_CHECKING:
    from motemap.changes import Comparison, Registration, StateChange
    from motemap.records import FrameReport, Verdict
    from motemap.settings import Settings, WorkSettings

NAME_COLUMNS: Final = 19
ROW: Final = "{:<19} {:>4} {:>5} {:>5}{:1}{:>6}{:>7}{:>7}{:>7}{:>6}{:>10}"
MOST_NUMBERS: Final = 12
"""Spot numbers named for one fate; the rest is counted."""

LEAST_SHIFT_PX: Final = 0.05
LEAST_SCALE: Final = 2e-5


def render(comparison: Comparison, settings: Settings, style: TextStyle | None = None) -> str:
    """Return the report as text, ending in a line feed."""
    style = style or TextStyle(most_rows=10)
    last = comparison.states[-1]
    blocks = [
        [
            *paragraph(comparison.story),
            "",
            _headline(comparison.verdict, style),
            *_reasons(comparison),
        ],
        _table(comparison, settings.work),
        *(_about(change) for change in comparison.changes),
        _what_is_left(comparison, settings, style),
        [line for note in (*comparison.notes, *last.notes) for line in _noted(note)],
        _cautions(comparison.verdict),
    ]
    lines = [line for block in blocks if block for line in (*block, "")]
    return "\n".join(lines[:-1]) + "\n"


def _headline(verdict: Verdict, style: TextStyle) -> str:
    words = VERDICT_WORDS[verdict.level]
    if style.has_colour:
        words = f"{BOLD}{COLOURS[verdict.level]}{words}{PLAIN}"
    is_to_clean = verdict.level == "clean"
    return f"{words}: {METHOD_PHRASES[verdict.method]}, then shoot again" if is_to_clean else words


def _reasons(comparison: Comparison) -> list[str]:
    return [
        line for reason in comparison.verdict.reasons for line in paragraph(reason, first=INDENT)
    ]


def _table(comparison: Comparison, work: WorkSettings) -> list[str]:
    lines = [ROW.format("state", "at", "found", "show", "", *FATES).rstrip()]
    changes = {change.after: change for change in comparison.changes}
    for index, state in enumerate(comparison.states):
        lines.append(_row(state, changes.get(state.file) if index else None))
    return lines + own_note(comparison.states, work)


def _row(state: FrameReport, change: StateChange | None) -> str:
    fates = [change.counts[fate] for fate in FATES] if change else [UNKNOWN] * len(FATES)
    return ROW.format(
        shortened(PurePath(state.file).name or state.file, NAME_COLUMNS),
        say_f(state.exposure.f_number).removeprefix("f/"),
        found_count(state),
        showing_count(state),
        own_sign(state),
        *fates,
    ).rstrip()


def _about(change: StateChange) -> list[str]:
    method = f" ({', '.join(change.done)})" if change.done else ""
    lines = paragraph(f"{change.before} -> {change.after}{method}")
    lines += paragraph(_laid_over(change.registration), first=INDENT)
    for fate in ("moved", "weaker", "new"):
        numbers = [mark.after_id for mark in change.marks if mark.fate == fate]
        if numbers:
            named = ", ".join(str(number) for number in numbers[:MOST_NUMBERS])
            more = len(numbers) - MOST_NUMBERS
            rest = f" and {more} more" if more > 0 else ""
            lines += paragraph(
                f"{fate.capitalize()}: no {named}{rest} of the later state.", first=INDENT
            )
    for note in change.notes:
        lines += paragraph(f"Note: {note}.", first=INDENT)
    return lines


def _laid_over(found: Registration) -> str:
    if found.scale is None:
        return f"Not laid over each other: {found.reason}."
    by = f"Laid over each other by {count(found.n_used, 'mark')}"
    left = "" if found.residual_px is None else f"; {found.residual_px:.2f} px left between them"
    shift_px = (found.shift_x_px or 0.0, found.shift_y_px or 0.0)
    is_scaled = abs(found.scale - 1.0) > LEAST_SCALE
    if not is_scaled and max(abs(each) for each in shift_px) < LEAST_SHIFT_PX:
        return f"{by}: nothing moved{left}."
    across = f"{abs(shift_px[0]):.1f} px {'right' if shift_px[0] >= 0 else 'left'}"
    down = f"{abs(shift_px[1]):.1f} px {'down' if shift_px[1] >= 0 else 'up'}"
    return f"{by}: scale {found.scale:.4f}, shifted {across} and {down}{left}."


def _what_is_left(comparison: Comparison, settings: Settings, style: TextStyle) -> list[str]:
    last = comparison.states[-1]
    if not last.spots or last.state != "judged":
        return []
    lines = spot_lines(last, settings, view=style.view, most_rows=style.most_rows)
    return [f"What is left in {printable(PurePath(last.file).name or last.file)}", *lines]


def _noted(note: str) -> list[str]:
    return paragraph(note, first=f"{INDENT}Note      ")


def _cautions(verdict: Verdict) -> list[str]:
    if not verdict.cautions:
        return []
    lines = ["Before you clean"]
    for caution in verdict.cautions:
        lines += paragraph(caution, first=f"{INDENT}- ")
    return lines
