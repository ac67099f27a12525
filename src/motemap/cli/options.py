"""Every option that more than one command knows, declared once, as a decorator.

A command file holds one click command called ``command`` and reads like this::

    @click.command(epilog=options.example("motemap check trip/ --shoot-at 8"))
    @options.paths
    @options.work
    @options.reporting
    @options.jobs
    @options.run
    @click.pass_context
    def command(ctx, paths, output_format, output, exit_zero, jobs, **work): ...

``options.settings_from(**work)`` turns the work options into `Settings`; the run options
(``-q -v --debug``) are not passed on: take ``options.console(ctx)`` and ask it.
"""

from __future__ import annotations

from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from motemap.cli.console import Console
from motemap.errors import SettingsError
from motemap.settings import NARROWEST_F, WIDEST_F, Settings, WorkSettings

if TYPE_CHECKING:
    from collections.abc import Callable

Function = TypeVar("Function", bound="Callable[..., Any]")
Meant = TypeVar("Meant")

PERCENT = 100.0


def f_number(text: str) -> float:
    """Read an aperture as people write it: ``8``, ``f/8``, ``F8``, ``f5,6``.

    >>> f_number("f/5.6")
    5.6
    """
    digits = text.strip().lower().removeprefix("f").removeprefix("/")
    try:
        value = float(digits.replace(",", "."))
    except ValueError:
        raise click.BadParameter(f"{text!r} is no aperture; write 8 or f/8.") from None
    if not WIDEST_F <= value <= NARROWEST_F:
        raise click.BadParameter(f"{text!r} is not between f/{WIDEST_F:g} and f/{NARROWEST_F:g}.")
    return value


def f_numbers(text: str) -> tuple[float, ...]:
    """Read apertures separated by commas: ``5.6,8,f/11``, in the order given."""
    return tuple(f_number(part) for part in text.split(","))


def percentage(text: str) -> float:
    """Read a share in per cent, with or without the sign, as 0-1.

    >>> percentage("2%")
    0.02
    """
    try:
        percent = float(text.strip().removesuffix("%"))
    except ValueError:
        raise click.BadParameter(f"{text!r} is no percentage; write 2 or 2%.") from None
    if not 0 < percent < PERCENT:
        raise click.BadParameter(f"{text!r} is not above 0 and below 100.")
    return percent / PERCENT


def methods(text: str) -> tuple[str, ...]:
    """Read cleaning methods separated by commas, in the order given, as the report names them.

    >>> methods("blower,wet")
    ('blower', 'wet swab')
    """
    from motemap.facts.methods import parse_done

    return _read(parse_done, text)


def console(ctx: click.Context) -> Console:
    """Return the console of this run, making one when there is none yet."""
    return ctx.ensure_object(Console)


def _keep_quiet(ctx: click.Context, _param: click.Parameter, value: bool) -> None:
    console(ctx).is_quiet |= value
    console(ctx).start_logging()


def _keep_verbose(ctx: click.Context, _param: click.Parameter, value: int) -> None:
    console(ctx).n_verbose += value
    console(ctx).start_logging()


def _keep_debug(ctx: click.Context, _param: click.Parameter, value: bool) -> None:
    console(ctx).is_debug |= value
    console(ctx).start_logging()


def _known_sensor(_ctx: click.Context, _param: click.Parameter, value: str | None) -> str | None:
    # Asked here, once and before any work, not for every frame.
    if value is not None:
        from motemap.sensor.size import parse_wish

        _read(parse_wish, value)
    return value


def _known_hold(_ctx: click.Context, _param: click.Parameter, value: str) -> str:
    from motemap.place.hold import find_hold

    _read(find_hold, value)
    return value


def _known_view(_ctx: click.Context, _param: click.Parameter, value: str | None) -> str | None:
    if value is None:
        return None
    from motemap.optics.vision import Viewing

    return _read(Viewing.parse, value).name


def _read(read: Callable[[str], Meant], text: str) -> Meant:
    try:
        return read(text)
    except SettingsError as error:
        raise click.BadParameter(f"{error.cause} {error.repair}") from error


def _refuse_empty(
    _ctx: click.Context, _param: click.Parameter, value: tuple[str, ...]
) -> tuple[str, ...]:
    # An unset shell variable would else mean the current folder.
    if "" in value:
        raise click.BadParameter("an empty path was given.")
    return value


paths = click.argument(
    "paths",
    nargs=-1,
    required=True,
    type=click.Path(allow_dash=True),
    metavar="PATH...",
    callback=_refuse_empty,
)
"""Files and folders, ``-`` for standard input; passed as ``paths``, a tuple of str."""

frame = click.argument("frame", type=click.Path(allow_dash=True), metavar="FRAME")
"""One picture, ``-`` for standard input; passed as ``frame``, a str."""

at = click.option(
    "--at",
    "f_numbers",
    type=f_numbers,
    metavar="F,F,...",
    default="2.8,4,5.6,8,11,16,22",
    show_default=True,
    help="Apertures of the pictures to come.",
)
"""Passed as ``f_numbers``, a tuple of float."""

shoot_at = click.option(
    "--shoot-at",
    "shoot_at_f",
    type=f_number,
    metavar="F",
    default=f"f/{WorkSettings().shoot_at_f:g}",
    show_default=True,
    help="Narrowest aperture you work at.",
)
"""Passed as ``shoot_at_f``, a float."""

show_depth = click.option(
    "--show-depth",
    "show_depth_frac",
    type=percentage,
    metavar="PCT",
    default=f"{WorkSettings().show_depth_frac * PERCENT:g}%",
    show_default=True,
    help="Share of light lost from which on a mark shows.",
)
"""Passed as ``show_depth_frac``, 0-1."""

view = click.option(
    "--view",
    metavar="HOW",
    callback=_known_view,
    help="Go by what an eye can see instead of --show-depth: on a screen at 100 % (screen), "
    "or in a print of some size from some distance (print:60x40cm@80cm).",
)
"""Passed as ``view``, a name that `motemap.optics.vision.Viewing` reads, or None."""

sensor = click.option(
    "--sensor",
    callback=_known_sensor,
    metavar="NAME|WxH",
    help="Sensor format, by name or as width x height in mm, when the file does not say.",
)
"""Passed as ``sensor``, the text given or None."""

stack_mm = click.option(
    "--stack-mm",
    type=float,
    metavar="MM",
    help="Distance from the dust to the photosites in mm; measured from the frame if left out.",
)
"""Passed as ``stack_mm``, a float or None."""

done = click.option(
    "--done",
    type=methods,
    metavar="LIST",
    default="",
    help="Cleaning already tried: blower, brush, wet swab, service; separated by commas.",
)
"""Passed as ``done``, a tuple of method names."""

hold = click.option(
    "--hold",
    metavar="HOW",
    default="upright",
    show_default=True,
    callback=_known_hold,
    help="How you hold the body when you look at the sensor: upright, upside-down, "
    "on-back-top-away, on-back-top-near, grip-up, grip-down, from-behind. "
    "Turns the positions in the text; JSON and CSV stay upright.",
)
"""Passed as ``hold``, a name that `motemap.place.find_hold` knows."""

output_format = click.option(
    "--format",
    "output_format",
    type=click.Choice(["text", "json", "csv"]),
    default="text",
    show_default=True,
    help="Form of the report.",
)
"""Passed as ``output_format``."""

output = click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write the report to FILE, whole or not at all, instead of standard output.",
)
"""Passed as ``output``, a Path or None; hand it to `motemap.cli.output.emit`."""

exit_zero = click.option(
    "--exit-zero", is_flag=True, help="End with 0 where cleaning or a new shot is advised."
)
"""Passed as ``exit_zero``."""

jobs = click.option(
    "--jobs",
    type=click.IntRange(min=1),
    metavar="N",
    help="Frames judged at the same time; as the machine allows if left out.",
)
"""Passed as ``jobs``, at least 1, or None."""

_run = (
    click.option(
        "-q",
        "--quiet",
        is_flag=True,
        expose_value=False,
        callback=_keep_quiet,
        help="No progress, no warnings.",
    ),
    click.option(
        "-v",
        "--verbose",
        count=True,
        expose_value=False,
        callback=_keep_verbose,
        help="Say more on standard error; twice for everything.",
    ),
    click.option(
        "--debug",
        is_flag=True,
        expose_value=False,
        callback=_keep_debug,
        help="Show the trace of a fault.",
    ),
)


def together(*decorators: Callable[[Any], Any]) -> Callable[[Function], Function]:
    """Make one decorator of several, applied so that help lists them in this order."""

    def decorate(function: Function) -> Function:
        return reduce(lambda inner, outer: outer(inner), reversed(decorators), function)

    return decorate


work = together(shoot_at, show_depth, view, sensor, stack_mm, done)
"""What the photographer works with: the options that `settings_from` takes."""

reporting = together(output_format, output, exit_zero)
"""Where the report goes, in which form, and what the exit code says."""

run = together(*_run)
"""``-q``, ``-v`` and ``--debug``; they act on `console` and pass nothing to the command."""


def settings_from(**work_values: Any) -> Settings:
    """Build the settings from the values of the work options.

    Raises
    ------
    SettingsError
        If a value is out of range.
    """
    return Settings(work=WorkSettings(**work_values))


def example(*commands: str) -> str:
    """Return the closing lines of a help page: one example a line, never wrapped."""
    return "\b\nExample:\n" + "\n".join(f"  {command}" for command in commands)
