"""``motemap pretrip``: every body of a trip, ready or not."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from motemap.cli import options
from motemap.cli.console import wants_colour
from motemap.cli.output import emit

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.report.forms import Form


def serials(text: str) -> tuple[str, ...]:
    """Read serial numbers separated by commas.

    >>> serials("K-20418, K-20500,")
    ('K-20418', 'K-20500')
    """
    return tuple(part.strip() for part in text.split(",") if part.strip())


def moment(text: str) -> datetime:
    """Read a day, or a day with a time, as ISO 8601 writes them.

    >>> moment("2024-05-12")
    datetime.datetime(2024, 5, 12, 0, 0)
    """
    try:
        return datetime.fromisoformat(text.strip())
    except ValueError:
        raise click.BadParameter(
            f"{text!r} is no date; write 2024-05-12, or 2024-05-12T18:30 for an hour of that day."
        ) from None


@click.command(
    epilog=options.example(
        "motemap pretrip trip/ --shoot-at 8",
        "motemap pretrip trip/ --expect K-20418,K-20500 --max-age 7 && echo packed",
    )
)
@options.paths
@click.option(
    "--expect",
    "expected",
    type=serials,
    metavar="LIST",
    default="",
    help="Serial numbers of bodies that must be there, separated by commas.",
)
@click.option(
    "--max-age",
    "max_age_days",
    type=click.FloatRange(min=0),
    metavar="DAYS",
    help="Oldest a test shot may be; an older one has to be taken again.",
)
@click.option(
    "--as-of",
    type=moment,
    metavar="DATE",
    help="Reckon the age from this date instead of now.",
)
@options.work
@options.reporting
@options.jobs
@options.run
@click.pass_context
def command(
    ctx: click.Context,
    /,
    paths: tuple[str, ...],
    expected: tuple[str, ...],
    max_age_days: float | None,
    as_of: datetime | None,
    output_format: Form,
    output: Path | None,
    exit_zero: bool,
    jobs: int | None,
    **work: Any,
) -> None:
    """Say of every body whether it is ready to go: one line each.

    PATH is a folder with test shots of all bodies, or pictures. Shots are sorted by body
    (maker, model, serial number); the latest of each counts, and shots of it a short while
    apart are combined. Ends with 0 when every body is ready, 3 when one needs cleaning, 4
    when one must be shot (again), is too old or missing, 1 when a file could not be read.
    """
    from motemap.pipeline.pretrip import TripWishes, check_trip, exit_code
    from motemap.pipeline.walk import find_frames
    from motemap.pipeline.write import refuse_target

    settings = options.settings_from(**work)
    found = find_frames(paths)
    refuse_target(output, found.paths)
    wishes = TripWishes(
        now=as_of or datetime.now().astimezone(), expected=expected, max_age_days=max_age_days
    )
    with options.console(ctx).progress(len(found.paths), label="Judging frames") as step:
        trip = check_trip(found, settings, wishes, jobs=jobs, on_done=lambda _path: step())
    if output_format == "text":
        from motemap.report import pretrip_text

        report = pretrip_text.render(trip, has_colour=output is None and wants_colour())
    elif output_format == "csv":
        from motemap.report import pretrip_json

        report = pretrip_json.to_csv(trip)
    else:
        from motemap.report import json, pretrip_json

        report = json.dumps(
            pretrip_json.to_dict(trip, settings, expected=expected, max_age_days=max_age_days)
        )
    emit(report, output, form=output_format)
    ctx.exit(exit_code(trip, exit_zero=exit_zero))
