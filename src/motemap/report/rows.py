"""Tables for spreadsheets: one row a thing, cells that no program takes for a formula."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from motemap.report.plain import printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

LIST_SEPARATOR = "; "

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""First characters by which a spreadsheet takes a cell for a formula (OWASP, CSV injection)."""

HARMLESS = "'"
"""Put before such a cell, it makes it text to every common spreadsheet."""

STANDARD_INPUT = "-"
"""What a picture that came on standard input is called."""


def write_rows(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Return CSV text with a header row, lines ending in a line feed.

    Parameters
    ----------
    columns : sequence of str
        Names in the header; what a row has beside them is left out.
    rows : iterable of mapping
        None becomes an empty cell, a list one cell.
    """
    table = io.StringIO()
    writer = csv.DictWriter(table, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: _cell(value) for name, value in row.items()})
    return table.getvalue()


def _cell(value: Any) -> Any:
    if isinstance(value, list | tuple):
        value = LIST_SEPARATOR.join(str(each) for each in value)
    return harmless(value) if isinstance(value, str) else value


def harmless(text: str) -> str:
    """Return text as a cell that no spreadsheet takes for a formula.

    A minus alone, the name of standard input, is none and stays what it is.

    >>> harmless("=1+1.dng"), harmless("-")
    ("'=1+1.dng", '-')
    """
    shown = printable(text)
    is_formula = text.startswith(FORMULA_STARTS) and text != STANDARD_INPUT
    return f"{HARMLESS}{shown}" if is_formula else shown
