"""The program: finds its commands by name, catches every error once, ends with a code.

Exit codes are those of ``docs/reference/exit-codes.md``; click's own are never passed on, since it
gives 1 to a crash, to Ctrl-C and to a closed pipe alike.
"""

from __future__ import annotations

import importlib
import logging
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from motemap import __version__
from motemap.cli import options
from motemap.cli.console import Console, complain
from motemap.cli.memory import search_rarely
from motemap.cli.output import leave_stdout
from motemap.errors import MotemapError, SettingsError, fault_words
from motemap.pipeline.exit_codes import FAULT_CODE, STOPPED_CODE, USAGE_CODE

if TYPE_CHECKING:
    from collections.abc import Sequence

COMMANDS: Final = {
    "check": "List the marks in test shots and say whether to clean.",
    "compare": "Say what a cleaning did, and what to do next.",
    "pretrip": "Say of every body whether it is ready to go: one line each.",
    "history": "Show the record of every body, or the course of one.",
    "forecast": "Say how many marks would show at each aperture.",
    "guide": "Tell how to shoot the test frame, and how to clean safely.",
    "simulate": "Draw a test frame of known dust, and write the truth beside it.",
}
"""In the order of a photographer's work; each is ``motemap/cli/NAME.py``, which begins its own help
with the same line. Said here as well, so that none has to be imported to list them all."""

LOGGER = logging.getLogger("motemap.cli")

THREAD_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
"""What numpy's linear algebra reads, when it is first imported, to choose its threads."""


class CommandsByName(click.Group):
    """A group that imports a command only when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of work."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command; None for an unknown name."""
        if cmd_name not in self.list_commands(ctx):
            return None
        command: click.Command = importlib.import_module(f"motemap.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of the commands."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; when a path stands in its place, say what was meant."""
        word = args[0]
        if not word.startswith("-") and word not in COMMANDS and _is_path(word):
            ctx.fail(f"{word!r} is no command. Did you mean: motemap check {word}")
        return super().resolve_command(ctx, args)


def _is_path(word: str) -> bool:
    try:
        return Path(word).exists()
    except (OSError, ValueError):  # longer than a name can be
        return False


@click.group(
    name="motemap",
    cls=CommandsByName,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=options.example("motemap check trip/ --shoot-at 8"),
)
@click.version_option(__version__, prog_name="motemap")
@options.run
@click.pass_context
def program(ctx: click.Context) -> None:
    """Find dust on a camera sensor, and say whether, where and how to clean.

    Point it at test shots of a plain bright field taken at f/16 or narrower; `motemap guide`
    says how to shoot them.
    """
    ctx.color = False if os.environ.get("NO_COLOR") else None
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def main(argv: Sequence[str] | None = None) -> int:
    """Run the program and return its exit code.

    Parameters
    ----------
    argv : sequence of str, optional
        The arguments; those of the process when left out.

    Returns
    -------
    int
        0, 3, 4 for a judgement, 1 for a fault, 2 for wrong usage, 130 for Ctrl-C.
    """
    console = Console(is_program=argv is None)
    if console.is_program:
        search_rarely()
    # Sums shared out over threads differ in the last digit from machine to machine; frames
    # are what is done side by side here (--jobs).
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    logging.captureWarnings(capture=True)  # those of libraries mean nothing to a photographer
    try:
        return _run(argv, console)
    except (click.ClickException, MotemapError) as error:
        return _explain(error)
    except (click.Abort, KeyboardInterrupt) as stop:
        if isinstance(stop.__cause__, EOFError):  # click takes it for Ctrl-C
            return _own_up(stop.__cause__, console)
        return _stop(is_program=console.is_program)
    except BrokenPipeError:
        leave_stdout()
        return FAULT_CODE
    except Exception as error:  # the boundary: a crash must never read as a verdict
        LOGGER.debug("The trace:", exc_info=True)
        return _own_up(error, console)
    finally:
        logging.captureWarnings(capture=False)


def _run(argv: Sequence[str] | None, console: Console) -> int:
    code = program.main(
        args=None if argv is None else list(argv),
        prog_name="motemap",
        standalone_mode=False,
        obj=console,
    )
    if sys.stdout is not None:
        sys.stdout.flush()
    return code if isinstance(code, int) else 0


def _stop(*, is_program: bool) -> int:
    complain("Stopped.")
    if is_program:
        # Leaving the ordinary way would wait for the frames that threads are judging.
        os._exit(STOPPED_CODE)
    return STOPPED_CODE


def _explain(error: click.ClickException | MotemapError) -> int:
    if isinstance(error, click.ClickException):
        complain(*_usage_lines(error))
        return USAGE_CODE if isinstance(error, click.UsageError) else FAULT_CODE
    where = f"{error.path}: " if error.path else ""
    complain(f"Error: {where}{error.cause}", f"  {error.repair}")
    return USAGE_CODE if isinstance(error, SettingsError) else FAULT_CODE


def _usage_lines(error: click.ClickException) -> tuple[str, ...]:
    message = f"Error: {error.format_message()}"
    if not isinstance(error, click.UsageError):
        return (message,)
    asked = error.ctx.command_path if error.ctx is not None else program.name
    return (message, f"  Try '{asked} --help'.")


def _own_up(error: Exception, console: Console) -> int:
    complain(f"Error: a fault of the program itself ({fault_words(error)}).")
    if not console.is_debug:
        complain("  Run it again with --debug for the trace, and report it, please.")
    return FAULT_CODE
