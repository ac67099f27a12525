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
    return write_cells(columns, (cells(columns, row) for row in rows))


def write_cells(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return the same of rows that are `cells` already."""
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return table.getvalue()


def cells(columns: Sequence[str], row: Mapping[str, Any]) -> list[Any]:
    """Return the cells of a row, in the order of the columns."""
    return [_cell(row.get(name)) for name in columns]


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
