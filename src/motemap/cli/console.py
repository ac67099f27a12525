"""What goes to the person and not into the report: messages, progress, how much of it."""

from __future__ import annotations

import logging
import os
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from motemap.cli.memory import keep_freed
from motemap.cli.output import leave
from motemap.report.plain import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

LEVELS = (logging.WARNING, logging.INFO, logging.DEBUG)
"""Log level by the number of ``-v``."""


@dataclass(slots=True, kw_only=True)
class Console:
    """How much is said on standard error; filled in while the command line is parsed.

    Parameters
    ----------
    is_program : bool
        Whether this process is the program, and not one that calls it.
    """

    is_program: bool = False
    is_quiet: bool = False
    n_verbose: int = 0
    is_debug: bool = False

    @property
    def log_level(self) -> int:
        """Level from which on log messages are shown."""
        if self.is_quiet:
            return logging.ERROR
        if self.is_debug:
            return logging.DEBUG
        return LEVELS[min(self.n_verbose, len(LEVELS) - 1)]

    @property
    def shows_progress(self) -> bool:
        """Whether a progress bar would be seen by a person."""
        return not self.is_quiet and sys.stderr is not None and sys.stderr.isatty()

    @property
    def has_processes(self) -> bool:
        """Whether frames may be judged in processes of their own.

        Not when called by another program, which may run threads that cannot be copied or a
        script that a new process would run again; and not where the trace of a fault is wanted.
        """
        return self.is_program and not self.is_debug

    def start_logging(self) -> None:
        """Send log messages of the package to standard error at the level asked for."""
        handler = _Complaints()
        handler.setFormatter(logging.Formatter("%(levelname)s: %(message)s"))
        handler.addFilter(_make_printable)
        logger = logging.getLogger("motemap")
        logger.handlers = [handler]
        logger.setLevel(self.log_level)
        logger.propagate = False

    def say(self, message: str) -> None:
        """Write one line to standard error, unless told to be quiet."""
        if not self.is_quiet:
            complain(message)

    @contextmanager
    def progress(self, n_steps: int, *, label: str) -> Iterator[Callable[[], None]]:
        """Show a bar on a terminal while frames are judged, and keep decoders from printing there.

        Where this process is the program, freed memory is kept for the next array.

        Yields
        ------
        callable
            Advances the bar by one step; to be called from the main thread.
        """
        # Imported here: it brings the array library with it, and help must come at once.
        from motemap.load.quiet import quiet_decoders

        if self.is_program:
            keep_freed()
        with quiet_decoders():
            if not self.shows_progress or n_steps <= 1:
                yield _no_step
                return
            with click.progressbar(length=n_steps, label=label, file=sys.stderr) as progress_bar:
                yield lambda: progress_bar.update(1)


class _Complaints(logging.Handler):
    """Log messages as lines on what is standard error at the time, safe for any terminal."""

    def emit(self, record: logging.LogRecord) -> None:
        complain(*self.format(record).split("\n"))


def _make_printable(record: logging.LogRecord) -> bool:
    # Messages may quote file names: these must not steer the terminal.
    record.msg = printable(record.getMessage())
    record.args = ()
    return True


def _no_step() -> None:
    """Stand in for a bar that nobody would see."""


def complain(*lines: str) -> None:
    """Write lines to standard error, safe for any terminal.

    Where that cannot be written to, nobody reads it: the report and the exit code still count.
    """
    encoding = getattr(sys.stderr, "encoding", None) or "utf-8"
    try:
        for line in lines:
            shown = printable(line).encode(encoding, "backslashreplace").decode(encoding)
            click.echo(shown, err=True)
    except OSError:
        leave(sys.stderr)


def wants_colour() -> bool:
    """Whether standard output is a terminal whose owner has not asked for plain text.

    See https://no-color.org: any value of ``NO_COLOR`` but the empty one counts.
    """
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return sys.stdout is not None and sys.stdout.isatty()
