"""The forecast by aperture as a person reads it: counts, and the worst marks by name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.report.words import UNKNOWN, WIDTH_COLUMNS, say_f, say_percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.tallies import ApertureTally

INDENT: Final = "  "
ROW: Final = "  {:<9} {:>5}   {}"
HEAD: Final = ("aperture", "show", "the worst of them: number and share of the light taken")


def count_lines(tallies: Sequence[ApertureTally]) -> list[str]:
    """Return how many marks show at each aperture in two lines; none where nothing is known.

    >>> from motemap.tallies import ApertureTally
    >>> rows = [ApertureTally(f_number=5.6, n_showing=2), ApertureTally(f_number=8, n_showing=11)]
    >>> for line in count_lines(rows): print(line)
      Aperture   f/5.6    f/8
      Marks          2     11
    """
    if not any(tally.n_showing is not None for tally in tallies):
        return []
    heads = "".join(f" {say_f(tally.f_number):>6}" for tally in tallies)
    counts = "".join(f" {_count(tally):>6}" for tally in tallies)
    return [f"{INDENT}{'Aperture':<9}{heads}", f"{INDENT}{'Marks':<9}{counts}"]


def worst_lines(tallies: Sequence[ApertureTally]) -> list[str]:
    """Return a table with a row an aperture: how many show, and which are worst."""
    rows = [HEAD, *((say_f(each.f_number), _count(each), _worst(each)) for each in tallies)]
    return [ROW.format(*row).rstrip()[:WIDTH_COLUMNS] for row in rows]


def _count(tally: ApertureTally) -> str:
    return UNKNOWN if tally.n_showing is None else str(tally.n_showing)


def _worst(tally: ApertureTally) -> str:
    pairs = zip(tally.worst, tally.worst_depth_frac, strict=True)
    return ", ".join(f"no {number} {say_percent(depth)}" for number, depth in pairs)
