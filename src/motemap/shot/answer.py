"""How a question asked of a test shot is answered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.records import ShotCheck

if TYPE_CHECKING:
    from motemap.records import Outcome

ROUNDING = 1e-6
"""Binary fractions miss decimal ones by less."""


def answer(
    name: str, value: float | str | None, wanted: str, outcome: Outcome, advice: str
) -> ShotCheck:
    """Return a check as it is reported; a good one has no advice."""
    return ShotCheck(
        name=name,
        value=value,
        wanted=wanted,
        outcome=outcome,
        advice=None if outcome == "ok" else advice,
    )
