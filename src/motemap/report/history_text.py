"""The record for a person: the bodies, and the course of one of them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from motemap.facts.stops import write_f
from motemap.report.counted import own_note, own_sign
from motemap.report.plain import printable
from motemap.report.words import UNKNOWN, count, paragraph, say_f, say_um, shortened
from motemap.showing import aperture_words, can_forecast

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.bodies import BodyCourse, Comeback, CourseStep, Survivor
    from motemap.settings import WorkSettings

INDENT: Final = "  "
DATE_CHARACTERS: Final = 10
TITLE_COLUMNS: Final = 40
STEP_ROW: Final = "  {:<10} {:>5} {:>5} {:>4}{:1}{:>6}{:>6} {:<23} {}"
MOST_SURVIVORS: Final = 12
DAYS_IN_WEEKS: Final = 21
DAYS_IN_MONTHS: Final = 75
DAYS_A_WEEK: Final = 7
DAYS_A_MONTH: Final = 30.4
MOST_DAYS_AHEAD: Final = 3650
BAR_COLUMNS: Final = 13
BAR_HEADING: Final = "show, as bars"


def render_list(courses: Sequence[BodyCourse], work: WorkSettings) -> str:
    """Return the bodies, one line each."""
    if not courses:
        return "No body is kept yet: use --record with check or compare.\n"
    aperture = write_f(work.shoot_at_f)
    lines = [f"{'body':<{TITLE_COLUMNS}} states  latest      found  show at {aperture}"]
    for course in courses:
        last = course.steps[-1]
        lines.append(
            f"{shortened(course.body.title, TITLE_COLUMNS):<{TITLE_COLUMNS}}"
            f" {len(course.steps):>6}  {_date(last)}  {last.n_found:>5}"
            f"  {last.n_showing:>4}{own_sign(last.state.report)}"
        )
    lines += own_note((course.steps[-1].state.report for course in courses), work)
    return "\n".join(lines) + "\n"


def render_course(course: BodyCourse, work: WorkSettings) -> str:
    """Return the course of one body."""
    blocks = [
        [printable(course.body.title)],
        _steps(course, work),
        _survivors(course.survivors),
        _stack(course),
        _comeback(course, work),
    ]
    lines = [line for block in blocks if block for line in (*block, "")]
    return "\n".join(lines[:-1]) + "\n"


def _steps(course: BodyCourse, work: WorkSettings) -> list[str]:
    lines = [
        f"Marks over time; show: at {write_f(work.shoot_at_f)}.",
        STEP_ROW.format(
            "date", "at", "found", "show", "", "gone", "new", "cleaned before", BAR_HEADING
        ).rstrip(),
    ]
    most = max((step.n_showing for step in course.steps), default=0)
    lines += [_step(step, most) for step in course.steps]
    return lines + own_note((step.state.report for step in course.steps), work)


def _step(step: CourseStep, most: int) -> str:
    change = step.change
    bar = "#" * round(BAR_COLUMNS * step.n_showing / most) if most else ""
    return STEP_ROW.format(
        _date(step),
        say_f(step.state.report.exposure.f_number),
        step.n_found,
        step.n_showing,
        own_sign(step.state.report),
        UNKNOWN if change is None else change.counts["gone"],
        UNKNOWN if change is None else change.counts["new"],
        ", ".join(step.state.done),
        bar,
    ).rstrip()


def _date(step: CourseStep) -> str:
    return printable(step.state.moment[:DATE_CHARACTERS])


def _survivors(survivors: Sequence[Survivor]) -> list[str]:
    if not survivors:
        return []
    ranked = sorted(survivors, key=lambda each: (not each.is_showing, -len(each.outlived)))
    lines = ["Marks that outlived a cleaning; # shows."]
    for each in ranked[:MOST_SURVIVORS]:
        place = printable(each.place or "place unknown")
        seen = f"seen {each.times_seen} times"
        mark = "#" if each.is_showing else " "
        text = f"{each.kind}, {say_um(each.particle_um)} um, {place}, {seen}: {_outlived(each)}"
        lines += paragraph(text, first=f"{mark} no {each.spot_id:<4}")
    rest = len(ranked) - MOST_SURVIVORS
    if rest > 0:
        lines.append(f"{INDENT}{rest} more left out here; JSON lists all.")
    return lines


def _outlived(survivor: Survivor) -> str:
    names = dict.fromkeys(survivor.outlived)
    return ", ".join(
        name if (n := survivor.outlived.count(name)) == 1 else f"{name} {n} times" for name in names
    )


def _stack(course: BodyCourse) -> list[str]:
    if course.stack is None or course.stack.distance_mm is None:
        return ["Distance from dust to photosites: not measured so far."]
    band = course.stack.uncertainty_mm
    error = "" if band is None else f" +/- {band:.2f}"
    distance = f"{course.stack.distance_mm:.2f}{error} mm"
    return [f"Distance from dust to photosites, measured so far: {distance}."]


def _comeback(course: BodyCourse, work: WorkSettings) -> list[str]:
    found, last = course.comeback, course.steps[-1]
    aperture = write_f(work.shoot_at_f)
    if last.n_showing:
        now = aperture_words(work, has_forecast=can_forecast(last.state.report))
        return paragraph(f"It shows now at {now}. {_pace(found)}".rstrip())
    if found.days_to_next is None:
        return paragraph(
            "How fast dust comes back cannot be said yet: it takes two states some days apart "
            "with no cleaning between them."
        )
    if found.is_at_least:
        return paragraph(
            f"{_pace(found)} It will hardly show at {aperture} again before "
            f"{_later(last, found.days_to_next)}."
        )
    return paragraph(
        f"{_pace(found)} Expect it to show at {aperture} again about "
        f"{_later(last, found.days_to_next)}."
    )


def _pace(found: Comeback) -> str:
    if found.days_to_next is None:
        return ""
    if found.is_at_least:
        return f"Nothing that shows came in {_span(found.n_days)} without cleaning."
    came = count(found.n_new, "mark").replace("mark", "mark that shows", 1)
    came = came if found.n_new == 1 else f"{found.n_new} marks that show"
    each = f", one in {_span(found.days_to_next)}" if found.n_new > 1 else ""
    return f"{came} came in {_span(found.n_days)} without cleaning{each}."


def _span(days: float) -> str:
    """Say a length of time as people do.

    >>> _span(9), _span(30), _span(120)
    ('9 days', '4 weeks', '4 months')
    """
    if days < DAYS_IN_WEEKS:
        return count(max(1, round(days)), "day")
    if days < DAYS_IN_MONTHS:
        return count(round(days / DAYS_A_WEEK), "week")
    return count(round(days / DAYS_A_MONTH), "month")


def _later(step: CourseStep, days: float) -> str:
    """Say the date some days after a state."""
    try:
        moment = datetime.fromisoformat(step.state.moment)
    except ValueError:
        return f"{_span(days)} later"
    if days > MOST_DAYS_AHEAD:
        return "ten years from then"
    return (moment + timedelta(days=days)).date().isoformat()
