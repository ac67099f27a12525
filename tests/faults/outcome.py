"""What a long run found, written into the page that says what is promised.

A page has a place for each script: two comments with the script's name, and what it wrote last
between them.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from publishing import ROOT, circumstances, versions_line

if TYPE_CHECKING:
    from pathlib import Path

PAGE: Final = ROOT / "docs" / "explanation" / "robustness.md"


def write_outcome(name: str, words: str, page: Path = PAGE) -> None:
    """Put words in the place that the page has for a script.

    Raises
    ------
    ValueError
        If the page has no such place.
    """
    begin, end = f"<!-- written by {name} -->", f"<!-- end of {name} -->"
    text = page.read_text(encoding="utf-8")
    place = re.compile(f"(?<={re.escape(begin)}\n).*?(?={re.escape(end)})", re.DOTALL)
    renewed, n_places = place.subn(lambda _match: f"\n{words.strip()}\n\n", text)
    if n_places != 1:
        msg = f"{page.name} has no place for {name}"
        raise ValueError(msg)
    page.write_text(renewed, encoding="utf-8")


def made_with(*packages: str) -> str:
    """Return when and with what a run was made."""
    made = circumstances(packages)
    return f"{made['date']}, {versions_line(made)}"
