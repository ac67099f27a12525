"""How benchmarks and long runs keep their figures and write their pages.

They differ in what they measure; tables, the line on versions, and what the command line says
of where figures go are the same for all.
"""

from __future__ import annotations

import datetime as dt
import json
import platform
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterable

Figures = dict[str, Any]
ROOT: Final = Path(__file__).resolve().parents[1]


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Return a table in Markdown."""
    names = list(head)
    lines = [_row(names), "|" + " --- |" * len(names), *map(_row, rows)]
    return "\n".join(lines)


def _row(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def paragraphs(*parts: str) -> str:
    """Return parts of a page with an empty line between them; empty ones are left out."""
    return "\n\n".join(part.strip() for part in parts if part)


def circumstances(packages: Iterable[str]) -> Figures:
    """Return when and with what a run is made."""
    return {
        "date": dt.datetime.now(tz=dt.UTC).date().isoformat(),
        "python": platform.python_version(),
        "versions": {name: version(name) for name in packages},
    }


def versions_line(made: Figures) -> str:
    """Return with what a run was made, in one line."""
    versions = (f"{name} {number}" for name, number in made["versions"].items())
    return ", ".join([f"Python {made['python']}", *versions])


def how_made(made: Figures, more: str) -> str:
    """Return the section on how a page was made; `more` ends it."""
    return paragraphs(
        "## How this page was made",
        f"```\n{made['command']}\n```",
        f"Made on {made['date']} with {versions_line(made)}; {more}.",
    )


def add_output_options(parser: argparse.ArgumentParser, written: str) -> None:
    """Let the command line say where the figures go; `written` names what a page is."""
    add = parser.add_argument
    add("--json", type=Path, help="write all figures here")
    add("--page", action="store_true", help=f"write {written}")
    add("--page-from", type=Path, help="only write the page, from figures kept with --json")


def publish(
    chosen: argparse.Namespace, results: Figures, write_page: Callable[[Figures, Path], None]
) -> None:
    """Keep the figures and write the page, as the command line asks."""
    if chosen.json:
        text = json.dumps(results, indent=1, allow_nan=False) + "\n"
        chosen.json.write_text(text, encoding="utf-8")
    if chosen.page:
        write_page(results, ROOT)


def publish_again(kept: Path, write_page: Callable[[Figures, Path], None]) -> None:
    """Write the page from figures that were kept."""
    write_page(json.loads(kept.read_text(encoding="utf-8")), ROOT)


def write_text(path: Path, text: str) -> None:
    """Write a file of the documentation, and its folder if there is none."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
