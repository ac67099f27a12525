"""A place on the sensor in words, for a person who is about to clean it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from motemap.coords import SensorPoint

EDGE_FRAC: Final = 0.08
"""Nearer to a side than this share of the way across counts as lying at that edge: about 3 mm
on a full frame, where a swab is hardest to lead."""

THIRD: Final = 1 / 3


def place_words(point: SensorPoint, *, width_mm: float, height_mm: float) -> str:
    """Return a place in words, looking into the mount with the camera upright.

    Corners and edges first, else the cell of a grid of nine.

    >>> from motemap.coords import SensorPoint
    >>> place_words(SensorPoint(from_left_mm=6, from_top_mm=5), width_mm=36, height_mm=24)
    'upper left'
    >>> place_words(SensorPoint(from_left_mm=35, from_top_mm=12), width_mm=36, height_mm=24)
    'right edge'
    """
    return words_of_fractions(point.from_left_mm / width_mm, point.from_top_mm / height_mm)


def words_of_fractions(across_frac: float, down_frac: float) -> str:
    """Return the words for a place given as shares of the way across and down (0-1)."""
    across = _third(across_frac, "left", "right")
    down = _third(down_frac, "upper", "lower")
    is_side = _is_edge(across_frac)
    is_brim = _is_edge(down_frac)
    if is_side and is_brim:
        return f"{down} {across} corner"
    if is_side:
        return f"{across} edge, {down} part" if down else f"{across} edge"
    if is_brim:
        return f"{down} edge, {across} part" if across else f"{down} edge"
    if not (across or down):
        return "centre"
    return f"{down or 'centre'} {across or 'centre'}"


def _is_edge(share: float) -> bool:
    """Whether a share of the way across or down lies at either end."""
    return min(share, 1 - share) < EDGE_FRAC


def _third(share: float, first: str, last: str) -> str:
    """Return the word for the outer thirds, nothing for the middle one."""
    if share < THIRD:
        return first
    return last if share > 1 - THIRD else ""
