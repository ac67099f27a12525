"""The reference page on facts, written from the tables so that it cannot drift.

A test holds ``docs/reference/facts.md`` against `facts_page`; to write it anew::

    python -c "import sys; from motemap.facts.page import facts_page; \
        sys.stdout.write(facts_page())" > docs/reference/facts.md
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from motemap.facts.table import TAG_WORDS, read_table


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTable:
    """A fact table with the words that go before it on the page."""

    name: str
    key: tuple[str, ...]
    title: str
    words: str


PAGE_TABLES: Final = (
    PageTable(
        name="sensor_formats",
        key=("name",),
        title="Sensor formats",
        words=(
            "Nominal sizes, used when a format is named with `--sensor` or follows from the 35 mm "
            "equivalent. A focal-plane resolution in the picture's own metadata wins over them."
        ),
    ),
    PageTable(
        name="swabs",
        key=("format",),
        title="Swab widths",
        words=(
            "A swab is as wide as the sensor's short side. No maker publishes widths in "
            "millimetres; for a format not listed here the rule itself is printed."
        ),
    ),
    PageTable(
        name="methods",
        key=("method",),
        title="Cleaning methods",
        words=(
            "The ladder, gentlest first. Minutes are for one pass with the test shot after it; a "
            "service takes as long as it takes."
        ),
    ),
    PageTable(
        name="cautions",
        key=("name",),
        title="Cautions",
        words=(
            "Printed with the method they apply to; `open body` ones with blower, brush and wet "
            "swab, the last one with every method."
        ),
    ),
    PageTable(
        name="solvents",
        key=("solvent", "quantity"),
        title="Solvents in cleaning fluids",
        words="Hazard figures behind the cautions. No fluid is recommended here.",
    ),
    PageTable(
        name="f_stops",
        key=("nominal",),
        title="F-numbers",
        words=(
            "Markings, and how many thirds of a stop they lie from f/1. The number behind a "
            "marking is 2^(thirds/6): f/22 is 22.63."
        ),
    ),
    PageTable(
        name="exif_orientation",
        key=("tag_value",),
        title="Exif orientation",
        words=(
            "On which side of the displayed picture row 0 and column 0 of the stored picture lie."
        ),
    ),
)

HEAD: Final = """# Facts and their sources

Written from the tables in `src/motemap/facts/tables/` by `motemap.facts.page`; change those, not
this page. Thresholds that are our own choice are not here but in `motemap.settings`.

"""


def facts_page() -> str:
    """Return the page as Markdown."""
    tags = "\n".join(f"* `{tag}`: {words}" for tag, words in TAG_WORDS.items())
    intro = f"{HEAD}The column `tag` says how well a fact is known:\n\n{tags}\n"
    return intro + "".join(f"\n{_section(table)}" for table in PAGE_TABLES)


def _section(table: PageTable) -> str:
    """Return one table with its heading."""
    rows = read_table(table.name, key=table.key)
    columns = list(rows[0])
    lines = [columns, ["---"] * len(columns), *(list(row.values()) for row in rows)]
    body = "\n".join(f"| {' | '.join(_cell(cell) for cell in line)} |" for line in lines)
    return f"## {table.title}\n\n{table.words}\n\n{body}\n"


def _cell(text: str) -> str:
    """Keep a cell from ending its column."""
    return text.replace("|", "\\|")
