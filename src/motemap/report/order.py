"""The one order of spots in every report: deepest first, then row, then column."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.errors import OutputError
from motemap.report.columns import significants

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import Spot


def require_order(spots: Sequence[Spot], *, path: str) -> None:
    """Refuse to write spots out of order or misnumbered.

    Raises
    ------
    OutputError
        If the ids are not 1, 2, 3 ... or a spot is deeper than the one before it.
    """
    is_numbered = [spot.id for spot in spots] == list(range(1, len(spots) + 1))
    depths = np.array(significants([spot.depth_frac for spot in spots]), np.float64)
    if not is_numbered or (np.diff(depths) > 0).any():
        raise OutputError(
            "The spots are not in the order of the report.",
            repair="This is a fault of the program; please report it.",
            path=path,
        )
