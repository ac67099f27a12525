"""Tables for spreadsheets: one row a thing, cells that no program takes for a formula."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from motemap.report.csv import LIST_SEPARATOR, harmless

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence


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
