"""What to beware of, by cleaning method, and what cleaning fluids can do."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

from motemap.facts.table import read_table

if TYPE_CHECKING:
    from motemap.records import Method

OPEN_BODY_METHODS: Final = frozenset({"blower", "brush", "wet swab"})
"""Methods for which the photographer opens the body."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One thing to beware of.

    Parameters
    ----------
    applies_to : str
        A method, ``"open body"`` for every method that opens the body, or ``"always"``.
    """

    name: str
    applies_to: str
    text: str
    source: str
    tag: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SolventFact:
    """One hazard figure of one solvent."""

    solvent: str
    quantity: str
    value: float
    unit: str
    source: str
    tag: str


@cache
def all_cautions() -> tuple[Caution, ...]:
    """Return every caution, in the order of the table."""
    return tuple(
        Caution(
            name=row["name"],
            applies_to=row["applies_to"],
            text=row["text"],
            source=row["source"],
            tag=row["tag"],
        )
        for row in read_table("cautions", key=("name",))
    )


def cautions_for(method: Method) -> tuple[Caution, ...]:
    """Return the cautions of a method, its own first, the camera's manual last.

    >>> cautions_for("none")
    ()
    >>> [caution.name for caution in cautions_for("service")][-1]
    'manual first'
    """
    if method == "none":
        return ()
    wanted = {method, "always"} | ({"open body"} if method in OPEN_BODY_METHODS else set())
    return tuple(each for each in all_cautions() if each.applies_to in wanted)


@cache
def solvents() -> tuple[SolventFact, ...]:
    """Return the hazard figures of cleaning solvents."""
    return tuple(
        SolventFact(
            solvent=row["solvent"],
            quantity=row["quantity"],
            value=float(row["value"]),
            unit=row["unit"],
            source=row["source"],
            tag=row["tag"],
        )
        for row in read_table("solvents", key=("solvent", "quantity"))
    )
