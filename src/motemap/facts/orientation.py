"""The Exif orientation tag: on which side of the displayed picture the stored one begins."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

from motemap.facts.table import read_table

Side = Literal["top", "bottom", "left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrientationFact:
    """Where stored row 0 and stored column 0 lie once the picture is displayed upright."""

    tag_value: int
    row0_side: Side
    col0_side: Side
    meaning: str
    source: str
    tag: str


def _side(word: str) -> Side:
    """Return `word` as a side, refusing anything else."""
    sides: dict[str, Side] = {name: name for name in get_args(Side)}
    return sides[word]


@cache
def orientations() -> dict[int, OrientationFact]:
    """Return the eight orientations by the tag's value."""
    return {
        int(row["tag_value"]): OrientationFact(
            tag_value=int(row["tag_value"]),
            row0_side=_side(row["row0_side"]),
            col0_side=_side(row["col0_side"]),
            meaning=row["meaning"],
            source=row["source"],
            tag=row["tag"],
        )
        for row in read_table("exif_orientation", key=("tag_value",))
    }
