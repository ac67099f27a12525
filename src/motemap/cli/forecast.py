"""``motemap forecast``: one test shot in, what pictures at other apertures would show out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from motemap.cli import options
from motemap.cli.output import emit
from motemap.cli.source import STANDARD_INPUT, standard_input

if TYPE_CHECKING:
    from motemap.pipeline.forecast import Forecast
    from motemap.report.forms import Form
    from motemap.settings import Settings


@click.command(
    epilog=options.example(
        "motemap forecast before.dng",
        "motemap forecast before.dng --at 5.6,8,11",
        "motemap forecast before.dng --at 8 --view print:60x40cm@80cm",
    )
)
@options.frame
@options.at
@options.show_depth
@options.view
@options.sensor
@options.stack_mm
@options.output_format
@options.output
@options.run
@click.pass_context
def command(
    ctx: click.Context,
    /,
    frame: str,
    f_numbers: tuple[float, ...],
    output_format: Form,
    output: Path | None,
    **work: Any,
) -> None:
    """Say how many marks would show at each aperture.

    The worst of each are named. FRAME is one test shot, or a folder with one; - reads it from
    standard input. Ends with 0 when it could be forecast from, 4 when it has to be shot again
    or its aperture or the size of its sensor is not known, 1 when it could not be read.
    """
    from motemap.pipeline.forecast import find_shot, forecast_frame
    from motemap.pipeline.write import refuse_target

    settings = options.settings_from(**work)
    is_piped = frame == STANDARD_INPUT
    shot = Path(frame) if is_piped else find_shot(frame)
    refuse_target(output, [shot])
    with options.console(ctx).progress(1, label="Judging the frame"):
        content = standard_input() if is_piped else None
        forecast = forecast_frame(shot, settings, f_numbers, content=content)
    emit(_write(forecast, settings, output_format), output, form=output_format)
    ctx.exit(_exit_code(forecast))


def _exit_code(forecast: Forecast) -> int:
    from motemap.pipeline.exit_codes import FAULT_CODE, READY_CODE, RESHOOT_CODE

    if forecast.report.state == "unreadable":
        return FAULT_CODE
    return READY_CODE if forecast.is_known else RESHOOT_CODE


def _write(forecast: Forecast, settings: Settings, form: Form) -> str:
    from motemap.report import forecast_json, forecast_text, json

    if form == "json":
        return json.dumps(forecast_json.to_dict(forecast.report, forecast.rows, settings))
    if form == "csv":
        return forecast_json.to_csv(forecast.report, forecast.rows)
    return forecast_text.render(forecast.report, forecast.rows, settings)
