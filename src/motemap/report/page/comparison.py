"""What a page says about states that follow each other: what went, stayed, moved and came."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.page.counted import CountColumns
from motemap.report.page.document import bullet_list
from motemap.report.page.signs import held_body, small_picture
from motemap.report.page.tables import Heading, cell, row_heading, table
from motemap.report.pictures.comparison_map import step_element
from motemap.report.pictures.fate_legend import sign_scale_words, step_signs
from motemap.report.pictures.markup import escape
from motemap.report.pictures.plate import plate_for
from motemap.report.pictures.rulers import unit_words
from motemap.report.pictures.steps import laid_words, step_words, steps_of
from motemap.report.pictures.words import shot_words, verdict_words, what_words
from motemap.showing import is_on_sensor

if TYPE_CHECKING:
    from motemap.changes import Comparison, MarkFate
    from motemap.report.pictures.steps import Step
    from motemap.report.pictures.view import Hold
    from motemap.settings import WorkSettings

SIGN_UNIT = 100.0
MOST_ROWS = 60
"""Fates listed for one step; the others are counted."""


def comparison_header(comparison: Comparison) -> str:
    """Return the verdict on the whole sequence, with its story and reasons."""
    verdict = comparison.verdict
    story = f'<p class="lead">{escape(comparison.story)}</p>' if comparison.story else ""
    return (
        f'<div class="verdict {verdict.level}"><h1>{escape(verdict_words(verdict))}</h1>{story}'
        f"{bullet_list(verdict.reasons)}</div>"
    )


def comparison_sections(comparison: Comparison, *, work: WorkSettings, hold: Hold) -> str:
    """Return cautions, the sequence as a table, and every step with its map."""
    cautions = bullet_list(comparison.verdict.cautions)
    parts = [
        '<section class="cautions" aria-label="Cautions"><h2>Before you clean</h2>'
        f"{cautions}</section>"
        if cautions
        else "",
        f"<section><h2>The sequence</h2>{_sequence(comparison, work)}</section>",
    ]
    for count, step in enumerate(steps_of(comparison), start=1):
        parts.append(_step(step, count, work, hold))
    if comparison.notes:
        parts.append(f"<h3>Notes</h3>{bullet_list(comparison.notes)}")
    return "\n".join(part for part in parts if part)


def _sequence(comparison: Comparison, work: WorkSettings) -> str:
    columns = CountColumns.of(comparison.states, work)
    headings = (
        Heading(name="State"),
        Heading(name="Cleaned with"),
        *columns.headings,
    )
    rows = []
    states = zip(comparison.states, comparison.done, strict=True)
    for count, (report, done) in enumerate(states, start=1):
        link = f'<a href="#f{count}"><bdi>{escape(shot_words(report))}</bdi></a>'
        rows.append(
            f"<tr>{row_heading(link)}{cell(', '.join(done) or '-')}{columns.cells(report)}</tr>"
        )
    return table("States in order of cleaning", headings, rows)


def _step(step: Step, count: int, work: WorkSettings, hold: Hold) -> str:
    plate = plate_for(step.after, hold)
    prefix = f"c{count}-"
    used = f" after {escape(', '.join(step.change.done))}" if step.change.done else ""
    scale = sign_scale_words((*step.before.spots, *step.after.spots), plate)
    said = ".<br>".join(escape(each) for each in (scale, unit_words(plate)) if each)
    notes = (*step.change.notes, laid_words(step.change.registration))
    return (
        f"<section><h2>Step {count}{used}</h2>"
        f"<p>{escape(step_words(step, work))}.</p>"
        f'<figure class="map">{step_element(step, work=work, hold=hold, prefix=prefix)}'
        f"<figcaption>{held_body(plate, prefix)}{_signs(step, work, prefix)}"
        f'<p class="quiet">{said}.</p></figcaption></figure>'
        f"{bullet_list(note for note in notes if note)}{_fates(step)}</section>"
    )


def _signs(step: Step, work: WorkSettings, prefix: str) -> str:
    items = (
        f"<li>{small_picture(draw((0.0, 0.0)), f'{prefix}s{place}-')}<span>{escape(text)}</span></li>"
        for place, (draw, text, _) in enumerate(step_signs(step, SIGN_UNIT, work))
    )
    return f'<ul class="signs">{"".join(items)}</ul>'


def _fates(step: Step) -> str:
    rank = {"new": 0, "moved": 1, "stayed": 2, "weaker": 3, "undecided": 4, "gone": 5}
    ranked = sorted(step.change.marks, key=lambda fate: rank[fate.fate])
    headings = (
        Heading(name="Fate"),
        Heading(name="No. before", is_number=True),
        Heading(name="No. after", is_number=True),
        Heading(name="Mark"),
        Heading(name="Why"),
    )
    rows = [_fate_row(fate, step) for fate in ranked[:MOST_ROWS]]
    left_out = len(ranked) - MOST_ROWS
    more = f"<p>{left_out} more marks are in the JSON report.</p>" if left_out > 0 else ""
    return table("What became of each mark", headings, rows) + more


def _fate_row(fate: MarkFate, step: Step) -> str:
    before = {spot.id: spot for spot in step.before.spots}
    after = {spot.id: spot for spot in step.after.spots}
    spot = after.get(fate.after_id or 0) or before.get(fate.before_id or 0)
    what = what_words(spot) if spot else "-"
    if spot and not is_on_sensor(spot):
        what += ", on the lens"
    return (
        f"<tr>{row_heading(escape(fate.fate))}"
        f"{cell('-' if fate.before_id is None else str(fate.before_id), is_number=True)}"
        f"{cell('-' if fate.after_id is None else str(fate.after_id), is_number=True)}"
        f"{cell(what)}{cell('; '.join(fate.reasons))}</tr>"
    )
