"""``motemap history``: the record of every body."""

from __future__ import annotations

import json as plain_json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from motemap.cli import drawing, keeping, options
from motemap.cli.easel import write_course
from motemap.cli.output import emit
from motemap.errors import RecordError, SettingsError

if TYPE_CHECKING:
    from motemap.bodies import BodyCourse
    from motemap.report.forms import Form
    from motemap.settings import Settings


@click.command(
    epilog=options.example(
        "motemap history",
        "motemap history K-20418 --shoot-at 8",
        "motemap history K-20418 --plot course.svg",
        "motemap history --export record.json",
    )
)
@click.argument("body", required=False, metavar="[BODY]")
@click.option(
    "--export",
    "export_to",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write the whole record to FILE as JSON.",
)
@click.option(
    "--import",
    "import_from",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Keep all that an exported FILE holds; what is kept already stays one record.",
)
@keeping.database
@drawing.plot
@options.shoot_at
@options.show_depth
@options.output_format
@options.output
@options.run
@click.pass_context
def command(
    ctx: click.Context,
    /,
    body: str | None,
    export_to: Path | None,
    import_from: Path | None,
    db: Path | None,
    plot_to: Path | None,
    shoot_at_f: float,
    show_depth_frac: float,
    output_format: Form,
    output: Path | None,
) -> None:
    """Show the record of every body, or the course of one.

    BODY is a serial number, or part of a model's name. States are kept by `check --record`
    and `compare --record`.
    """
    from motemap.pipeline.write import refuse_target

    place = keeping.place_of(db)
    for target in (output, export_to, plot_to):
        refuse_target(target, [place, *([import_from] if import_from else [])])
    if import_from is not None:
        n_states = _import(import_from, place)
        options.console(ctx).say(f"{n_states} states read from {import_from}.")
    elif db is not None and _is_missing(db):
        raise SettingsError(
            "There is no such record.",
            repair="Name a file that was made with --record, or leave out --db.",
            path=str(db),
        )
    if export_to is not None:
        _export(place, export_to)
        return
    settings = options.settings_from(shoot_at_f=shoot_at_f, show_depth_frac=show_depth_frac)
    courses = _courses(place, body, settings)
    emit(
        _write(courses, settings, output_format, is_one=body is not None),
        output,
        form=output_format,
    )
    if plot_to is not None:
        write_course(plot_to, courses, settings)


def _import(source: Path, place: Path) -> int:
    from motemap.history import Store, import_document, known_export
    from motemap.report.fitting import first_misfit
    from motemap.report.schema import load_schema

    try:
        document = plain_json.loads(source.read_text(encoding="utf-8"))
    except (FileNotFoundError, IsADirectoryError) as error:
        raise SettingsError(
            "There is no such file to import.",
            repair="Give a file written by `motemap history --export`.",
            path=str(source),
        ) from error
    except (OSError, ValueError, RecursionError) as error:
        raise RecordError(
            f"The export cannot be read ({error}).",
            repair="Give a file written by `motemap history --export`.",
            path=str(source),
        ) from error
    misfit = first_misfit(known_export(document, str(source)), load_schema("history"))
    if misfit is not None:
        raise RecordError(
            f"The export is damaged ({misfit}): nothing was kept of it.",
            repair="Export it again.",
            path=str(source),
        )
    with Store.open(place) as store:
        return import_document(store, document, path=str(source))


def _export(place: Path, target: Path) -> None:
    from motemap import __version__
    from motemap.history import Store, export_document
    from motemap.pipeline.write import write_whole
    from motemap.report import json

    with Store.open(place, can_write=False) as store:
        document = export_document(store, __version__)
    write_whole(target, json.dumps(document).encode())


def _is_missing(place: Path) -> bool:
    try:
        place.stat()
    except FileNotFoundError:
        return True
    except OSError:  # for whoever opens it to say
        return False
    return False


def _courses(place: Path, body: str | None, settings: Settings) -> tuple[BodyCourse, ...]:
    from motemap.history import Store
    from motemap.pipeline.course import course, courses, find_body

    if body is None and _is_missing(place):
        return ()
    with Store.open(place, can_write=False) as store:
        if body is None:
            return courses(store, settings.work)
        return (course(store, find_body(store, body), settings.work),)


def _write(courses: tuple[BodyCourse, ...], settings: Settings, form: Form, *, is_one: bool) -> str:
    from motemap.report import history_json, history_text, json

    if form == "json":
        return json.dumps(history_json.to_dict(courses, settings))
    if form == "csv":
        return history_json.to_csv(courses)
    if is_one:
        return history_text.render_course(courses[0], settings.work)
    return history_text.render_list(courses, settings.work)
