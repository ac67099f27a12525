"""The text of the guide: how to shoot the test frame, and how to clean without harm.

Plain ASCII, 80 columns at most, so that any terminal shows it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final

from motemap.errors import SettingsError
from motemap.facts.table import simplify

HEADING: Final = "== "
"""Begins the line that opens a section: key and title, parted by a bar."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideSection:
    """One section of the guide; `key` is what a user types to read it alone."""

    key: str
    title: str
    body: str


@cache
def sections() -> tuple[GuideSection, ...]:
    """Return all sections in reading order."""
    text = (resources.files("motemap.facts") / "guide.txt").read_text(encoding="utf-8")
    return tuple(_section(part) for part in f"\n{text}".split(f"\n{HEADING}")[1:])


def _section(part: str) -> GuideSection:
    """Read one section from its heading's first word to its last line."""
    heading, _, body = part.partition("\n")
    key, _, title = heading.partition("|")
    return GuideSection(key=key.strip(), title=title.strip(), body=body.strip("\n"))


def find_section(key: str) -> GuideSection:
    """Return the section called `key`, whatever its case.

    Raises
    ------
    SettingsError
        If there is none of that name; the message lists those there are.
    """
    for section in sections():
        if simplify(section.key) == simplify(key):
            return section
    raise SettingsError(
        f"The guide has no section '{key}'.",
        repair=f"Use {', '.join(section.key for section in sections())}.",
    )


def guide_text(*keys: str) -> str:
    """Return sections of the guide as text, or the whole guide when none is named.

    Raises
    ------
    SettingsError
        If a key names no section.
    """
    chosen = tuple(find_section(key) for key in keys) or sections()
    return "\n\n".join(
        f"{section.title}\n{'-' * len(section.title)}\n{section.body}" for section in chosen
    )
