"""``motemap guide``: how to shoot the test frame and how to clean safely."""

from __future__ import annotations

import click

from motemap.cli import options
from motemap.cli.output import emit


@click.command(epilog=options.example("motemap guide", "motemap guide shoot"))
@click.argument("sections", nargs=-1, metavar="[SECTION]...")
@options.run
def command(sections: tuple[str, ...]) -> None:
    """Tell how to shoot the test frame, and how to clean safely.

    Name a SECTION to read it alone; a wrong name lists them all.
    """
    from motemap.facts.guide import guide_text

    emit(f"{guide_text(*sections)}\n", None)
