"""The finest level of the search, in one pass over the frame.

Shadows of dust on a thin stack are so narrow that only the finest cells show them; all others
are found as well, and faster, on a plane pooled once. So the fine cells are gone over once,
strip by strip, and all that is kept is the darkest of the four smoothed cells in each square.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.scatter import SAMPLE
from motemap.filters import SQUARE, UNIT_REACH, lowest_of_squares, pool, smooth_unit
from motemap.strips import cell_strips, for_each, rows_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Squares:
    """A frame pooled to squares of 2 x 2 cells, and what its fine cells show besides.

    Parameters
    ----------
    mean : (h, w) float32
        Mean contrast of each square; an odd last row or column is repeated.
    darkest : (h, w) float32
        Lowest of the four cells of each square after smoothing by one cell.
    sample : (h / 2, w / 2) float32
        First smoothed cell of every second square along both axes.
    """

    mean: NDArray[np.float32]
    darkest: NDArray[np.float32]
    sample: NDArray[np.float32]


def pool_squares(contrast: Windows) -> Squares:
    """Go over the fine cells of a frame once.

    Parameters
    ----------
    contrast : (H, W) float32
    """
    height, width = contrast.shape
    shape = -(-height // SQUARE), -(-width // SQUARE)
    mean, darkest = np.empty(shape, np.float32), np.empty(shape, np.float32)
    sample = np.empty([-(-side // SAMPLE) for side in shape], np.float32)

    def fill(squares: slice) -> None:
        rows = slice(SQUARE * squares.start, min(SQUARE * squares.stop, height))
        outer, inner = rows_round(rows, UNIT_REACH, height)
        cells = contrast[outer, :]
        soft = smooth_unit(cells)[inner]
        mean[squares] = pool(cells[inner])
        darkest[squares] = lowest_of_squares(soft)
        first = squares.start // SAMPLE
        few = soft[:: SQUARE * SAMPLE, :: SQUARE * SAMPLE]
        sample[first : first + len(few)] = few

    for_each(fill, cell_strips(shape[0], SQUARE * width, step=SAMPLE))
    return Squares(mean=mean, darkest=darkest, sample=sample)
