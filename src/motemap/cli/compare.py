"""``motemap compare``: states in order of cleaning in, what went and what to do next out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from motemap.cli import drawing, options
from motemap.cli.console import wants_colour
from motemap.cli.easel import refuse_targets, write_comparison
from motemap.cli.keeping import Keeping, keep_comparison, record
from motemap.cli.output import emit

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.changes import Comparison
    from motemap.report.forms import Form
    from motemap.settings import Settings


@click.command(
    epilog=options.example(
        "motemap compare before.dng after.dng --done blower",
        "motemap compare 1-before/ 2-blower/ 3-wet/ --done blower,wet --shoot-at 8",
        "motemap compare before.dng after.dng --map after.svg --page after.html",
    )
)
@click.argument(
    "states",
    nargs=-1,
    required=True,
    type=click.Path(),
    metavar="STATE...",
)
@options.work
@options.hold
@record
@drawing.compare_pictures
@options.reporting
@options.jobs
@options.run
@click.pass_context
def command(
    ctx: click.Context,
    /,
    states: tuple[str, ...],
    hold: str,
    keeping: Keeping,
    pictures: drawing.ComparePictures,
    output_format: Form,
    output: Path | None,
    exit_zero: bool,
    jobs: int | None,
    **work: Any,
) -> None:
    """Say what a cleaning did, and what to do next.

    Of every mark it says whether it went, stayed, grew weaker, moved or came. STATE is a
    picture, or a folder whose pictures are one burst of one state; give them in order of
    cleaning. --done names what was used between them. Ends with 0 when the last state is
    ready, 3 when it needs more cleaning, 4 when it must be shot again, 1 when a state could
    not be read, 2 when the states cannot be compared.
    """
    from motemap.pipeline.states import compare_all, load_states
    from motemap.pipeline.summary import RunSummary
    from motemap.pipeline.walk import find_frames

    settings = options.settings_from(**work)
    paths = find_frames(states).paths
    refuse_targets((output, *pictures.targets), paths)
    console = options.console(ctx)
    with console.progress(len(paths), label="Judging frames") as step:
        frames = load_states(states, settings, jobs=jobs, on_done=lambda _path: step())
    comparison = compare_all(frames, settings)
    comparison = keep_comparison(comparison, settings, keeping, console)
    report = _write(comparison, settings, output_format, hold=hold, is_for_screen=output is None)
    emit(report, output, form=output_format)
    write_comparison(pictures, comparison, settings, hold)
    unread = [frame for frame in comparison.states[:-1] if frame.state == "unreadable"]
    last = replace(comparison.states[-1], verdict=comparison.verdict)
    ctx.exit(RunSummary.of([*unread, last], exit_zero=exit_zero).exit_code)


def _write(
    comparison: Comparison,
    settings: Settings,
    form: Form,
    *,
    hold: str,
    is_for_screen: bool,
) -> str:
    from motemap.pipeline.held import as_held
    from motemap.pipeline.retold import retold_as_held
    from motemap.report import compare_csv, compare_json, compare_text, json
    from motemap.report.text import TextStyle

    if form == "json":
        return json.dumps(compare_json.to_dict(comparison, settings))
    if form == "csv":
        return compare_csv.render(comparison)
    held, meaning = as_held(comparison.states, hold)
    style = TextStyle(has_colour=is_for_screen and wants_colour(), view=meaning, most_rows=10)
    told = retold_as_held(comparison, hold, settings.work)
    return compare_text.render(replace(told, states=held), settings, style)
