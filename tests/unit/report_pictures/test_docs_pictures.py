"""Every picture in the pages has the command that drew it, and every command is one there is."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from motemap.cli.main import COMMANDS, CommandsByName

DOCS = Path(__file__).parents[3] / "docs"
PICTURES = DOCS / "pictures"
LIST = (PICTURES / "README.md").read_text(encoding="utf-8")
ENDINGS = {".svg", ".png"}


def drawn() -> list[str]:
    """Return the names of all pictures that are there."""
    return sorted(path.name for path in PICTURES.iterdir() if path.suffix in ENDINGS)


def commands() -> list[list[str]]:
    """Return the words of every command that the list gives for this program."""
    lines = [line.strip() for line in LIST.splitlines() if line.startswith("    motemap ")]
    return [line.split() for line in lines]


def test_every_picture_is_listed_with_a_command_that_writes_it() -> None:
    listed = sorted(re.findall(r"^`([^`]+)`:", LIST, flags=re.MULTILINE))
    assert listed == drawn()
    written = "\n".join(line for line in LIST.splitlines() if line.startswith("    "))
    for name in drawn():
        assert f"docs/pictures/{name}" in written


def test_every_picture_is_shown_on_a_page() -> None:
    pages = "\n".join(
        page.read_text(encoding="utf-8") for page in DOCS.rglob("*.md") if page.parent != PICTURES
    )
    for name in drawn():
        assert f"pictures/{name})" in pages
    for name in re.findall(r"pictures/([\w.-]+)\)", pages):
        assert name in drawn()


@pytest.mark.parametrize("place", range(len(commands())))
def test_the_commands_know_their_options(place: int) -> None:
    words = commands()[place]
    name = words[1]
    assert name in COMMANDS
    context = click.Context(CommandsByName())
    command = CommandsByName().get_command(context, name)
    assert command is not None
    known = {flag for option in command.params for flag in option.opts}
    asked = {word for word in words if re.fullmatch(r"--?[a-z][a-z-]*", word)}
    assert asked <= known
