"""``motemap check``: test shots in, a spot list and a verdict out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from motemap.cli import drawing, options
from motemap.cli.console import wants_colour
from motemap.cli.easel import Easel, refuse_targets
from motemap.cli.keeping import Keeping, record, with_record
from motemap.cli.output import emit
from motemap.cli.source import STANDARD_INPUT, standard_input

if TYPE_CHECKING:
    from motemap.pipeline.record import LookAgain
    from motemap.pipeline.walk import Found
    from motemap.records import FrameReport, Stack
    from motemap.report.forms import Form
    from motemap.settings import Settings


@click.command(
    epilog=options.example(
        "motemap check trip/ --shoot-at 8",
        "motemap check before.dng --format json -o before.json",
        "motemap check before.dng --map before.svg --page before.html",
        "motemap check after.dng --record --done blower",
    )
)
@options.paths
@options.work
@options.hold
@click.option(
    "--burst",
    "is_burst",
    is_flag=True,
    help="Combine frames of one body shot a short while apart: fainter marks, no blemishes.",
)
@record
@drawing.check_pictures
@options.reporting
@options.jobs
@options.run
@click.pass_context
def command(
    ctx: click.Context,
    /,
    paths: tuple[str, ...],
    hold: str,
    is_burst: bool,
    keeping: Keeping,
    pictures: drawing.CheckPictures,
    output_format: Form,
    output: Path | None,
    exit_zero: bool,
    jobs: int | None,
    **work: Any,
) -> None:
    """List the marks in test shots and say whether to clean.

    PATH is a picture, or a folder that is searched with all below it; - reads one picture
    from standard input. Pictures of several frames get the frame's name behind their own:
    map-FRAME.svg. Ends with 0 when every frame is ready, 3 when one needs cleaning, 4 when one
    must be shot again, 1 when one could not be read.
    """
    from motemap.pipeline.summary import RunSummary
    from motemap.pipeline.walk import find_frames

    settings = options.settings_from(**work)
    found = find_frames(path for path in paths if path != STANDARD_INPUT)
    refuse_targets((output, *pictures.targets), found.paths)
    easel = Easel(pictures, settings, hold)
    from_stdin = STANDARD_INPUT in paths
    if is_burst:
        frames, again = _judge_bursts(ctx, found, settings, jobs=jobs, from_stdin=from_stdin)
    else:
        frames = _judge(ctx, found, easel, settings, jobs=jobs, from_stdin=from_stdin)
        again = easel.look_again
    frames = with_record(frames, settings, keeping, options.console(ctx), again=again)
    if is_burst:
        easel.look_at_bursts(frames, settings)
    report = _write(frames, settings, output_format, hold=hold, is_for_screen=output is None)
    if output is None and output_format == "text":
        report += easel.terminal_maps(frames)
    emit(report, output, form=output_format)
    for remark in easel.write(frames):
        options.console(ctx).say(f"Warning: {remark}")
    ctx.exit(RunSummary.of(frames, exit_zero=exit_zero).exit_code)


def _judge(
    ctx: click.Context,
    found: Found,
    easel: Easel,
    settings: Settings,
    *,
    jobs: int | None,
    from_stdin: bool,
) -> tuple[FrameReport, ...]:
    from motemap.pipeline.batch import analyse_many, default_jobs
    from motemap.strips import limited_threads

    console = options.console(ctx)
    with console.progress(len(found.paths), label="Judging frames") as step:
        frames = analyse_many(
            found.paths,
            settings,
            jobs=jobs,
            # What pictures are drawn from stays with who judged the frame.
            executor="processes" if console.has_processes and not easel.keeps_planes else None,
            analyse=easel.analyse,
            on_done=lambda _path: step(),
        )
        if from_stdin:
            with limited_threads(jobs or default_jobs()):
                piped = easel.analyse(Path(STANDARD_INPUT), settings, content=standard_input())
            frames = (piped, *frames)
    return (*found.troubles, *frames)


def _judge_bursts(
    ctx: click.Context,
    found: Found,
    settings: Settings,
    *,
    jobs: int | None,
    from_stdin: bool,
) -> tuple[tuple[FrameReport, ...], LookAgain]:
    """Judge burst by burst; return also what judges one anew by a known stack distance."""
    from motemap.pipeline.bursts import find_bursts, judge_burst, judge_found

    if from_stdin:
        raise click.UsageError("Standard input is one picture; --burst wants files.")
    bursts = find_bursts(found.paths)
    with options.console(ctx).progress(len(found.paths), label="Judging frames") as step:
        frames = judge_found(bursts, settings, jobs=jobs, on_done=lambda _path: step())
    paths_of = {frame.file: burst for frame, burst in zip(frames, bursts, strict=True)}

    def again(report: FrameReport, known: Stack) -> FrameReport:
        return judge_burst(paths_of[report.file], settings, jobs=jobs, known_stack=known)

    return (*found.troubles, *frames), again


def _write(
    frames: tuple[FrameReport, ...],
    settings: Settings,
    form: Form,
    *,
    hold: str,
    is_for_screen: bool,
) -> str:
    from motemap.report.forms import render
    from motemap.report.text import TextStyle

    if form != "text":
        return render(frames, settings, form=form)
    from motemap.pipeline.held import as_held

    held, meaning = as_held(frames, hold)
    style = TextStyle(has_colour=is_for_screen and wants_colour(), view=meaning)
    return render(held, settings, style=style)
