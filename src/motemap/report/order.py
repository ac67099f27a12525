"""The one order of spots in every report: deepest first, then row, then column."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from motemap.errors import OutputError
from motemap.report.rounding import decimals, significant

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from motemap.records import Spot


def in_order(spots: Iterable[Spot]) -> tuple[Spot, ...]:
    """Return the spots deepest first, then by row and column, numbered from 1.

    Spots are compared as they are written, so that the order can be checked in the report.
    """
    ranked = sorted(spots, key=_rank)
    return tuple(replace(spot, id=number) for number, spot in enumerate(ranked, start=1))


def _rank(spot: Spot) -> tuple[float, float, float, float]:
    return (
        -significant(spot.depth_frac),
        decimals(spot.image_y_px),
        decimals(spot.image_x_px),
        -spot.snr,
    )


def require_order(spots: Sequence[Spot], *, path: str) -> None:
    """Refuse to write spots out of order or misnumbered.

    Raises
    ------
    OutputError
        If the ids are not 1, 2, 3 ... or a spot is deeper than the one before it.
    """
    is_numbered = [spot.id for spot in spots] == list(range(1, len(spots) + 1))
    depths = [significant(spot.depth_frac) for spot in spots]
    if not is_numbered or depths != sorted(depths, reverse=True):
        raise OutputError(
            "The spots are not in the order of the report.",
            repair="This is a fault of the program; please report it.",
            path=path,
        )
