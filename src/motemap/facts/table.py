"""Reading of fact tables: a fact without a source, or stated twice, is refused."""

from __future__ import annotations

import csv
import io
from importlib import resources
from typing import Final

TAG_WORDS: Final = {
    "S": "read in the source",
    "A": "only the abstract was read",
    "M": "from memory",
    "C": "common practice, no source",
    "D": "derived",
}
"""What the letter in the column ``tag`` says about how well a fact is known."""

REQUIRED_COLUMNS: Final = ("source", "tag")


def read_table(name: str, *, key: tuple[str, ...]) -> tuple[dict[str, str], ...]:
    """Read one of the package's fact tables.

    Parameters
    ----------
    name : str
        File name without folder and ending, such as ``"sensor_formats"``.
    key : tuple of str
        Columns that together name a fact; no two rows may share them.

    Returns
    -------
    tuple of dict
        One dictionary a row, in the order of the file, cells stripped of blanks.

    Raises
    ------
    ValueError
        If a row lacks a source, bears an unknown tag, has too few or too many cells, or if
        two rows share a key.
    """
    file = resources.files("motemap.facts") / "tables" / f"{name}.csv"
    return parse_table(file.read_text(encoding="utf-8"), name=name, key=key)


def parse_table(text: str, *, name: str, key: tuple[str, ...]) -> tuple[dict[str, str], ...]:
    r"""Check and return the rows of a fact table given as text; see `read_table`.

    >>> parse_table("thing,source,tag\nice,,S\n", name="demo", key=("thing",))
    Traceback (most recent call last):
    ...
    ValueError: Fact table demo, line 2: no source.
    """
    lines = csv.reader(io.StringIO(text))
    columns = next(lines, [])
    missing = [column for column in (*REQUIRED_COLUMNS, *key) if column not in columns]
    if missing:
        raise ValueError(f"Fact table {name}: no column {missing[0]}.")
    rows: dict[tuple[str, ...], dict[str, str]] = {}
    for cells in lines:
        where = f"Fact table {name}, line {lines.line_num}"
        if len(cells) != len(columns):
            raise ValueError(f"{where}: {len(cells)} cells where {len(columns)} are due.")
        row = {column: cell.strip() for column, cell in zip(columns, cells, strict=True)}
        _refuse_unsourced(row, where)
        row_key = tuple(row[column].casefold() for column in key)
        if row_key in rows:
            raise ValueError(f"{where}: {', '.join(row_key)} is stated twice.")
        rows[row_key] = row
    return tuple(rows.values())


def _refuse_unsourced(row: dict[str, str], where: str) -> None:
    """Raise when nobody vouches for the fact in `row`."""
    if not row["source"]:
        raise ValueError(f"{where}: no source.")
    if row["tag"] not in TAG_WORDS:
        raise ValueError(f"{where}: tag {row['tag']!r} is none of {', '.join(TAG_WORDS)}.")


def simplify(name: str) -> str:
    """Return `name` as names are compared: lower case, no blanks, hyphens or underscores.

    >>> simplify("APS-C 1.6x"), simplify("full_frame")
    ('apsc1.6x', 'fullframe')
    """
    lowered = name.casefold().replace("\u00d7", "x")
    return "".join(sign for sign in lowered if sign not in " -_\t")
