"""Whole pages: one frame, a folder of frames, a sequence of states."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.outcome import OUTCOMES, count_outcomes
from motemap.report.page.comparison import comparison_header, comparison_sections
from motemap.report.page.counted import CountColumns
from motemap.report.page.document import document
from motemap.report.page.frame import caution_block, frame_sections, verdict_block
from motemap.report.page.tables import SHORT_HEADINGS, Heading, cell, row_heading, table
from motemap.report.pictures.markup import escape
from motemap.report.pictures.view import FACING
from motemap.report.pictures.words import (
    camera_words,
    count_words,
    shot_words,
    verdict_words,
)
from motemap.report.words import OUTCOME_PHRASES
from motemap.settings import WorkSettings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from motemap.changes import Comparison
    from motemap.records import FrameReport
    from motemap.report.pictures.strip import Strip
    from motemap.report.pictures.view import Hold

PREFIX = "f1-"


def page_html(
    report: FrameReport,
    *,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
    strip: Strip | None = None,
) -> str:
    """Return the report page of one frame, a single HTML file that needs nothing else.

    Parameters
    ----------
    work : WorkSettings, optional
        The aperture the photographer works at decides which marks show.
    hold : Hold
        How the body is held; all places on the page are as seen so.
    strip : Strip, optional
        The worst marks magnified, from `motemap.report.pictures.strip.cut_strip`.
    """
    work = work or WorkSettings()
    return document(
        title=f"{verdict_words(report.verdict)}: {shot_words(report)}",
        header=verdict_block(report, work, level=1),
        main=caution_block(report, level=2)
        + frame_sections(report, work=work, hold=hold, strip=strip, prefix=PREFIX),
        extra_style=row_style(report, PREFIX),
    )


def index_html(
    reports: Sequence[FrameReport],
    *,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
    strips: Mapping[str, Strip] | None = None,
) -> str:
    """Return the page of a folder: one row a frame, then every frame in full.

    Parameters
    ----------
    strips : mapping of str to Strip, optional
        The worst marks magnified, by `FrameReport.file`.
    """
    work = work or WorkSettings()
    counts = count_outcomes(reports)
    said = ", ".join(f"{counts[each]} {OUTCOME_PHRASES[each]}" for each in OUTCOMES if counts[each])
    title = f"{count_words(len(reports), 'test shot')}: {said}"
    frames = _articles(reports, work=work, hold=hold, strips=strips or {})
    return document(
        title=title,
        header=f"<h1>{escape(title)}</h1>",
        main=f"{index_table(reports, work)}\n{frames}",
        extra_style=_row_styles(reports),
    )


def comparison_html(
    comparison: Comparison,
    *,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
    strips: Mapping[str, Strip] | None = None,
) -> str:
    """Return the page of a comparison: verdict, sequence, what changed, every state in full.

    Parameters
    ----------
    strips : mapping of str to Strip, optional
        The worst marks magnified, by `FrameReport.file`.
    """
    work = work or WorkSettings()
    frames = _articles(comparison.states, work=work, hold=hold, strips=strips or {})
    return document(
        title=f"Before and after: {verdict_words(comparison.verdict)}",
        header=comparison_header(comparison),
        main=f"{comparison_sections(comparison, work=work, hold=hold)}\n{frames}",
        extra_style=_row_styles(comparison.states),
    )


def _articles(
    reports: Sequence[FrameReport],
    *,
    work: WorkSettings,
    hold: Hold,
    strips: Mapping[str, Strip],
) -> str:
    """Return every frame of a page in full."""
    return "\n".join(
        frame_article(report, count, work=work, hold=hold, strip=strips.get(report.file))
        for count, report in enumerate(reports, start=1)
    )


def _row_styles(reports: Sequence[FrameReport]) -> str:
    return "".join(
        row_style(report, frame_prefix(count)) for count, report in enumerate(reports, start=1)
    )


def frame_prefix(count: int) -> str:
    """Return what the identifiers of a frame begin with."""
    return f"f{count}-"


def frame_article(
    report: FrameReport, count: int, *, work: WorkSettings, hold: Hold, strip: Strip | None
) -> str:
    """Return one frame of a page that holds several."""
    sections = frame_sections(
        report, work=work, hold=hold, strip=strip, prefix=frame_prefix(count), level=3
    )
    return (
        f'<article class="frame" id="f{count}">{verdict_block(report, work, level=2)}'
        f"{caution_block(report, level=3)}"
        f"{sections}</article>"
    )


def index_table(reports: Sequence[FrameReport], work: WorkSettings) -> str:
    """Return one row a frame, with a link to it."""
    columns = CountColumns.of(reports, work)
    headings = (
        Heading(name="Test shot"),
        Heading(name="Camera"),
        Heading(name="Verdict"),
        *columns.headings,
    )
    rows = (_index_row(report, count, columns) for count, report in enumerate(reports, start=1))
    return table("All test shots", headings, rows)


def _index_row(report: FrameReport, count: int, columns: CountColumns) -> str:
    link = f'<a href="#f{count}"><bdi>{escape(report.file)}</bdi></a>'
    return (
        f"<tr>{row_heading(f'<span class=names>{link}</span>')}"
        f"<td><bdi>{escape(camera_words(report.camera))}</bdi></td>"
        f"{cell(verdict_words(report.verdict))}{columns.cells(report)}</tr>"
    )


def row_style(report: FrameReport, prefix: str) -> str:
    """Return the rules that show a mark's row while the mark on the map has the keyboard's focus.

    The row comes to the lower edge of the window, and goes back when the focus leaves.
    """
    pairs = ",".join(
        f":root:has(#{prefix}k{spot.id}:focus-visible) #{prefix}m{spot.id}" for spot in report.spots
    )
    return f"@media screen {{ {pairs} {{ {FOCUSED_ROW} }} }}\n" if pairs else ""


FOCUSED_ROW = (
    "position: fixed; left: 0; right: 0; bottom: 0; z-index: 2; background: var(--swab);"
    " border-top: 3px solid var(--swab-line); padding: .4rem 1rem;"
    " > td::before { display: block; font-size: .8em; font-weight: 400; color: var(--quiet); }"
    + "".join(
        f" > :nth-child({place})::before {{ content: '{name}'; }}"
        for place, name in enumerate(SHORT_HEADINGS, start=1)
        if name
    )
)
"""The row alone at the lower edge, every cell with its heading, for the head is not in sight."""
