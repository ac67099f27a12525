"""Places on the sensor in words, for a person who is about to clean it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

EDGE_FRAC: Final = 0.08
"""Nearer to a side than this share of the way across counts as lying at that edge: about 3 mm
on a full frame, where a swab is hardest to lead."""

THIRD: Final = 1 / 3
"""Between the edges, words tell thirds of a side."""

WORDS: Final = (
    (
        "upper left corner",
        "upper edge, left part",
        "upper edge",
        "upper edge, right part",
        "upper right corner",
    ),
    (
        "left edge, upper part",
        "upper left",
        "upper centre",
        "upper right",
        "right edge, upper part",
    ),
    ("left edge", "centre left", "centre", "centre right", "right edge"),
    (
        "left edge, lower part",
        "lower left",
        "lower centre",
        "lower right",
        "right edge, lower part",
    ),
    (
        "lower left corner",
        "lower edge, left part",
        "lower edge",
        "lower edge, right part",
        "lower right corner",
    ),
)
"""Corners and edges, and within them a grid of nine; rows from the top, each from the left."""


def words_of_fractions(across_frac: ArrayLike, down_frac: ArrayLike) -> list[str]:
    """Return the words for places given as shares of the way across and down (0-1).

    Looking into the mount with the camera upright.

    >>> words_of_fractions([6 / 36, 35 / 36], [5 / 24, 12 / 24])
    ['upper left', 'right edge']
    """
    cells = zip(_bands(down_frac).tolist(), _bands(across_frac).tolist(), strict=True)
    return [WORDS[down][across] for down, across in cells]


def _bands(share: ArrayLike) -> NDArray[np.intp]:
    """Return in which of the five bands shares of the way lie, counted from 0."""
    share = np.asarray(share, np.float64)
    is_past = (share >= EDGE_FRAC, share >= THIRD, share > 1 - THIRD, 1 - share < EDGE_FRAC)
    return np.asarray(np.count_nonzero(is_past, axis=0), np.intp)
