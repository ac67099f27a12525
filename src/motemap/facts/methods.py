"""The ladder of cleaning methods, gentlest first, and the swab that fits a format."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final, get_args

from motemap.errors import SettingsError
from motemap.facts.table import read_table, simplify
from motemap.records import Method

if TYPE_CHECKING:
    from collections.abc import Iterable

_METHODS: Final[dict[str, Method]] = {name: name for name in get_args(Method)}


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodFact:
    """One rung of the ladder.

    Parameters
    ----------
    rung : int
        Place on the ladder; a higher one is rougher.
    minutes : float or None
        Rough time for one pass with the shot after it [min]; None when it is out of the
        photographer's hands.
    summary : str
        What is meant, in a few words.
    """

    name: Method
    rung: int
    aliases: tuple[str, ...]
    minutes: float | None
    summary: str
    source: str
    tag: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SwabFact:
    """Width of the swab for a sensor format [mm], and how to use it."""

    format: str
    width_low_mm: float
    width_high_mm: float
    advice: str
    source: str
    tag: str


@cache
def methods() -> tuple[MethodFact, ...]:
    """Return the ladder, gentlest method first."""
    facts = (
        MethodFact(
            name=_METHODS[row["method"]],
            rung=int(row["rung"]),
            aliases=tuple(alias for alias in row["aliases"].split(";") if alias),
            minutes=float(row["minutes"]) if row["minutes"] else None,
            summary=row["summary"],
            source=row["source"],
            tag=row["tag"],
        )
        for row in read_table("methods", key=("method",))
    )
    return tuple(sorted(facts, key=lambda each: each.rung))


@cache
def _by_any_name() -> dict[str, MethodFact]:
    """Map every simplified name and alias to its method."""
    return {
        simplify(name): method for method in methods() for name in (method.name, *method.aliases)
    }


def find_method(name: str) -> MethodFact:
    """Return the method called `name`, whatever its case, blanks and hyphens.

    Raises
    ------
    SettingsError
        If there is no such method; the message lists those there are.

    >>> find_method("Wet-Swab").name
    'wet swab'
    """
    found = _by_any_name().get(simplify(name))
    if found is None:
        raise SettingsError(
            f"'{name}' is no cleaning method known here.",
            repair=f"Use {', '.join(each.name for each in methods())}.",
        )
    return found


def parse_done(text: str) -> tuple[Method, ...]:
    """Return the methods in a comma-separated list, in the order given, repeats kept.

    >>> parse_done("blower, swab,swab")
    ('blower', 'wet swab', 'wet swab')
    """
    return known_methods(part for part in text.split(",") if part.strip())


def known_methods(names: Iterable[str]) -> tuple[Method, ...]:
    """Return the proper names of methods; raises `SettingsError` for an unknown one."""
    return tuple(find_method(name).name for name in names)


@cache
def swabs() -> tuple[SwabFact, ...]:
    """Return the swab widths by format."""
    return tuple(
        SwabFact(
            format=row["format"],
            width_low_mm=float(row["width_low_mm"]),
            width_high_mm=float(row["width_high_mm"]),
            advice=row["advice"],
            source=row["source"],
            tag=row["tag"],
        )
        for row in read_table("swabs", key=("format",))
    )


def find_swab(format_name: str | None) -> SwabFact | None:
    """Return the swab for a sensor format; None when the format is unknown or not listed."""
    return next((each for each in swabs() if each.format == format_name), None)
