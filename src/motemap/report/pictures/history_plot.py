"""The course of one body: marks that show over time, with its cleanings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from motemap.facts.stops import write_f
from motemap.report.counted import OWN_SIGN, own_sign
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import CAP_FRAC, Box, Circle, Cluster, Paint, Sheet, Trace, Words
from motemap.report.pictures.scene import words_width as width_of
from motemap.report.pictures.svg import svg_file
from motemap.report.pictures.words import count_words, shorten

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from motemap.bodies import BodyCourse
    from motemap.report.pictures.scene import Point, Shape

WIDTH: Final = 1000.0
HEIGHT: Final = 380.0
LEFT: Final = 70.0
RIGHT: Final = 40.0
HEAD: Final = 150.0
FOOT: Final = 70.0
TYPE: Final = 17.0
TITLE: Final = 28.0
"""Measures of the sheet, in steps of its own; the plot is WIDTH x HEIGHT."""

INSET: Final = 40.0
"""Room between the first and last shot and the frame."""

LEAST_GAP_FRAC: Final = 0.055
"""Least distance between two shots, as a share of the width: shots of one evening at the
bench would else lie on top of one another."""

ROOM_ABOVE: Final = 34.0
"""Least room over a dot for its number; with less, the number stands beside it."""

STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
MOST_LINES: Final = 6
LABEL_ROWS: Final = 3
DAY_LETTERS: Final = 10
TITLE_LETTERS: Final = 52


@dataclass(frozen=True, slots=True, kw_only=True)
class CoursePoint:
    """One judged shot of a body.

    Parameters
    ----------
    taken_at : str
        ISO 8601.
    n_showing : int
        Marks that show at the photographer's aperture.
    n_found : int or None
        All marks on the sensor; None when not kept.
    done : tuple of str
        Cleaning methods used since the shot before.
    sign : str
        Behind its number, where that is told of the shot's own aperture.
    """

    taken_at: str
    n_showing: int
    n_found: int | None = None
    done: tuple[str, ...] = ()
    sign: str = ""


def points_of(course: BodyCourse) -> tuple[CoursePoint, ...]:
    """Return the shots that the record of a body holds."""
    return tuple(
        CoursePoint(
            taken_at=step.state.moment,
            n_showing=step.n_showing,
            n_found=step.n_found,
            done=step.state.done,
            sign=own_sign(step.state.report),
        )
        for step in course.steps
    )


def history_plot_svg(rows: Sequence[CoursePoint], *, body: str, shoot_at_f: float) -> str:
    """Return the course of a body as an SVG file.

    Parameters
    ----------
    rows : sequence of CoursePoint
        In any order; drawn by time.
    body : str
        Name of the body for the title.
    shoot_at_f : float
        Aperture that decided which marks show.
    """
    return svg_file(course_sheet(rows, body=body, shoot_at_f=shoot_at_f))


def course_sheet(rows: Sequence[CoursePoint], *, body: str, shoot_at_f: float) -> Sheet:
    """Return the sheet behind the plot."""
    course = sorted(rows, key=lambda row: row.taken_at)
    rights = _rights(course)
    top_count = _top_count(course)
    title = f"{shorten(body, TITLE_LETTERS)}: marks that show at {write_f(shoot_at_f)}"
    return Sheet(
        left=-LEFT,
        top=-HEAD,
        width=LEFT + WIDTH + RIGHT,
        height=HEAD + HEIGHT + FOOT,
        title=title,
        summary=course_words(course),
        shapes=(
            Words(
                at=(-LEFT + 20, -HEAD + 42), text=title, height=TITLE, tone=Tone.INK, is_bold=True
            ),
            *_frame(top_count),
            *_cleanings(course, rights),
            *_line(course, rights, top_count),
            *_points(course, rights, top_count),
            *_days(course, rights),
            *_key(course),
        ),
        print_width_mm=250.0,
    )


def course_words(course: Sequence[CoursePoint]) -> str:
    """Return what the plot says, in a sentence."""
    if not course:
        return "No shot of this body is on record"
    last = course[-1]
    n_cleanings = sum(bool(row.done) for row in course)
    return (
        f"{count_words(len(course), 'shot')}, {count_words(n_cleanings, 'cleaning')};"
        f" on {_day(last.taken_at)}, {last.n_showing} showed"
    )


def _day(taken_at: str) -> str:
    return taken_at[:DAY_LETTERS]


def _days_since(taken_at: str, sooner: float) -> float:
    """Return a time in days; `sooner`, that of the shot before, where it cannot be read."""
    # Cameras know no time zone; all that counts here is the distance between shots.
    try:
        moment = datetime.fromisoformat(taken_at).replace(tzinfo=None)
    except ValueError:
        return sooner
    return moment.toordinal() + moment.hour / 24 + moment.minute / 1440


def _rights(course: Sequence[CoursePoint]) -> list[float]:
    """Return where each shot goes: by time, but never too close to the one before."""
    if not course:
        return []
    times: list[float] = []
    for row in course:
        times.append(_days_since(row.taken_at, times[-1] if times else 0.0))
    span = (times[-1] - times[0]) or 1.0
    gaps = [max((late - soon) / span, LEAST_GAP_FRAC) for soon, late in pairwise(times)]
    room = (WIDTH - 2 * INSET) / (sum(gaps) or 1.0)
    rights = [INSET]
    for gap in gaps:
        rights.append(rights[-1] + gap * room)
    return rights


def _top_count(course: Sequence[CoursePoint]) -> int:
    most = max((max(row.n_showing, row.n_found or 0) for row in course), default=0)
    step = _step(most)
    return max(math.ceil((most + 1) / step) * step, 2)


def _step(most: int) -> int:
    return next((step for step in STEPS if most / step <= MOST_LINES), STEPS[-1])


def _down(count: float, top_count: int) -> float:
    return HEIGHT * (1 - count / top_count)


def _frame(top_count: int) -> Iterator[Shape]:
    yield Box(left=0, top=0, width=WIDTH, height=HEIGHT, paint=Paint(fill=Tone.PLATE))
    step = _step(top_count - 1)
    for count in range(0, top_count + 1, step):
        down = _down(count, top_count)
        tone = Tone.INK if count == 0 else Tone.GRID
        paint = Paint(line=tone, line_width=1.5)
        yield Trace(points=((0.0, down), (WIDTH, down)), paint=paint)
        yield Words(
            at=(-12.0, down + CAP_FRAC * TYPE),
            text=str(count),
            height=TYPE,
            tone=Tone.QUIET,
            anchor="end",
        )


def _cleanings(course: Sequence[CoursePoint], rights: Sequence[float]) -> Iterator[Shape]:
    """Draw a line, with the methods at its head, just before each shot that followed one."""
    paint = Paint(line=Tone.SWAB_LINE, line_width=2.0, dash=(7.0, 5.0))
    ends = [-LEFT] * LABEL_ROWS
    for place, row in enumerate(course):
        if not row.done:
            continue
        before = rights[place - 1] if place else rights[place] - INSET
        right = (before + rights[place]) / 2 if place else before + INSET / 2
        right = max(right, rights[place] - LEAST_GAP_FRAC * WIDTH / 2)
        text = ", ".join(row.done)
        half = width_of(text, TYPE) / 2
        level = next((each for each in range(LABEL_ROWS) if ends[each] < right - half), 0)
        ends[level] = right + half + TYPE
        base = -10.0 - level * TYPE * 1.3
        yield Trace(points=((right, base + 4.0), (right, HEIGHT)), paint=paint)
        yield Words(at=(right, base), text=text, height=TYPE, tone=Tone.SWAB_LINE, anchor="middle")


def _line(
    course: Sequence[CoursePoint], rights: Sequence[float], top_count: int
) -> Iterator[Shape]:
    points = tuple(
        (right, _down(row.n_showing, top_count)) for row, right in zip(course, rights, strict=True)
    )
    if len(points) > 1:
        yield Trace(points=points, paint=Paint(line=Tone.SHOWS, line_width=2.5))


def _points(
    course: Sequence[CoursePoint], rights: Sequence[float], top_count: int
) -> Iterator[Shape]:
    for row, right in zip(course, rights, strict=True):
        at = (right, _down(row.n_showing, top_count))
        shapes: list[Shape] = []
        is_close = False
        if row.n_found is not None:
            above = (right, _down(row.n_found, top_count))
            is_close = at[1] - above[1] < ROOM_ABOVE
            shapes.append(_found(above))
        found = "" if row.n_found is None else f" of {row.n_found}"
        yield Cluster(
            shapes=(*shapes, _showing(at), _count(row, at, is_beside=is_close)),
            title=f"{_day(row.taken_at)}: {row.n_showing}{row.sign}{found} marks show",
        )


def _count(row: CoursePoint, at: Point, *, is_beside: bool) -> Shape:
    return Words(
        at=(at[0] + 12.0, at[1] - 4.0) if is_beside else (at[0], at[1] - 12.0),
        text=f"{row.n_showing}{row.sign}",
        height=TYPE,
        tone=Tone.INK,
        anchor="start" if is_beside else "middle",
        is_bold=True,
    )


def _found(at: Point) -> Shape:
    return Circle(centre=at, radius=5.0, paint=Paint(line=Tone.REST, line_width=2.0))


def _showing(at: Point) -> Shape:
    return Circle(centre=at, radius=6.5, paint=Paint(fill=Tone.SHOWS))


def _days(course: Sequence[CoursePoint], rights: Sequence[float]) -> Iterator[Shape]:
    """Write under each shot the day, or the time on the same day, as far as there is room."""
    end, day = -LEFT, ""
    for row, right in zip(course, rights, strict=True):
        paint = Paint(line=Tone.QUIET, line_width=1.5)
        yield Trace(points=((right, HEIGHT), (right, HEIGHT + 8.0)), paint=paint)
        is_same = _day(row.taken_at) == day
        text = row.taken_at[DAY_LETTERS + 1 : DAY_LETTERS + 6] if is_same else _day(row.taken_at)
        half = width_of(text, TYPE) / 2
        if right - half < end:
            continue
        end, day = right + half + TYPE / 2, _day(row.taken_at)
        yield Words(
            at=(right, HEIGHT + 8.0 + TYPE * 1.2),
            text=text,
            height=TYPE,
            tone=Tone.QUIET,
            anchor="middle",
        )


def _key(course: Sequence[CoursePoint]) -> Iterator[Shape]:
    down = -HEAD + 74.0
    yield _showing((-LEFT + 28.0, down - 6.0))
    yield Words(at=(-LEFT + 44.0, down), text="shows", height=TYPE, tone=Tone.INK)
    if any(row.n_found is not None for row in course):
        yield _found((-LEFT + 128.0, down - 6.0))
        yield Words(at=(-LEFT + 144.0, down), text="found", height=TYPE, tone=Tone.INK)
    if any(row.done for row in course):
        paint = Paint(line=Tone.SWAB_LINE, line_width=2.0, dash=(7.0, 5.0))
        yield Trace(points=((-LEFT + 222.0, down - 6.0), (-LEFT + 256.0, down - 6.0)), paint=paint)
        yield Words(at=(-LEFT + 266.0, down), text="cleaning", height=TYPE, tone=Tone.INK)
    if any(row.sign for row in course):
        own = f"{OWN_SIGN} at the aperture of this shot"
        yield Words(at=(-LEFT + 372.0, down), text=own, height=TYPE, tone=Tone.INK)
