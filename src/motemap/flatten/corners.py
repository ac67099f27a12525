"""Corners that a hood or a filter ring in front of the lens has cut off.

Stopped down, such a thing throws a shadow too sharp for the background to follow, and what is left
of it looks like a fibre, nearly black, across the corner. It is told by its shape: it holds the very
corner, reaches along both borders, and deepens all the way into the corner, while a film on the
sensor is about as deep everywhere and a speck or a fibre hardly ever holds a corner.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from motemap.masks import grown, label_pieces
from motemap.planes import enlarge

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from motemap.flatten.division import Division
    from motemap.planes import Window

SQUARE_PX = 8
"""Side of the squares whose mean light is looked at: small beside such shadows, and large enough to
leave little of the noise [stored px]; a choice."""
FARTHEST_SHARE = 0.45
"""Share of the short side of a picture that such a shadow takes at most; a choice."""
LEAST_DEPTH, EDGE_DEPTH = 0.02, 0.01
"""How much darker than the background the corner itself is, and from where on a square belongs to its
shadow; the first is what shows in pictures, unless the user says otherwise."""
SEE_THROUGH_DEPTH = 0.6
"""Deeper than this is no film; as `SEE_THROUGH_FRAC` of `motemap.classify.kinds`."""
MEAN_OF_DEEPEST = 0.6
"""Mean over deepest loss of light of what deepens all the way into a corner, at most: a slope has a
third (derived), a film with a core and a rim nearly 1."""
FEWEST_SQUARES = 2
"""It reaches over so many squares along both borders at least."""
MARGIN_SQUARES = 2
"""So many squares round the shadow are left out, too, where it fades; a choice."""
MOST_UNLIKE = 4
"""Longer over shorter reach along the two borders, at most; a thing lying along one of them has more."""


def without_cut_corners(division: Division, bin_px: int) -> NDArray[np.bool_] | None:
    """Return where a mark could be judged when corners that something has cut off are left out.

    Parameters
    ----------
    division : Division
        Its `valid` says what is left out already.
    bin_px : int
        Stored pixels along the side of a cell.

    Returns
    -------
    (H, W) bool
    None
        When no corner is cut off.
    """
    side = max(2, SQUARE_PX // bin_px)
    cuts = [
        (window, cut)
        for is_low, is_right in product((False, True), repeat=2)
        for window, cut in _cut(division, side, is_low=is_low, is_right=is_right)
    ]
    if not cuts:
        return None
    valid = np.ones(division.shape, np.bool_) if division.valid is None else division.valid.copy()
    for window, cut in cuts:
        valid[window] &= ~cut
    return valid


def _cut(
    division: Division, side: int, *, is_low: bool, is_right: bool
) -> Iterator[tuple[Window, NDArray[np.bool_]]]:
    """Yield a window in a corner and which of its cells are cut off, if any are."""
    height, width = division.shape
    n_squares = int(FARTHEST_SHARE * min(height, width)) // side
    nearest, whole = (
        (
            slice(height - reach, height) if is_low else slice(reach),
            slice(width - reach, width) if is_right else slice(reach),
        )
        for reach in (side, n_squares * side)
    )
    if n_squares < FEWEST_SQUARES or _depths(division, nearest, side) < LEAST_DEPTH:
        return
    turn = slice(None, None, -1 if is_low else 1), slice(None, None, -1 if is_right else 1)
    is_cut = _cut_squares(_depths(division, whole, side)[turn])
    if is_cut.any():
        yield whole, enlarge(is_cut[turn], side)


def _depths(division: Division, window: Window, side: int) -> NDArray[np.float32]:
    """Return by how much the squares of a window are darker than the background, (n, n).

    What was too dark for the background to tell is black.
    """
    contrast = division[window]
    if division.valid is not None:
        contrast[~division.valid[window]] = -1
    n_along = len(contrast) // side
    squares = contrast.reshape(n_along, side, n_along, side)
    return np.asarray(-squares.mean(axis=(1, 3)), dtype=np.float32)


def _cut_squares(depth_frac: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Return which squares, counted from a corner, the shadow of a hood darkens; none if it is none."""
    label = label_pieces(depth_frac > EDGE_DEPTH, by_corners=False)
    is_cut = (label == label[0, 0]) & (label[0, 0] > 0)
    # What is as dark all along a border is no corner: argmin then counts it as reaching nowhere.
    shorter, longer = sorted(int(np.argmin(along)) for along in (is_cut[:, 0], is_cut[0]))
    deepest, mean = float(depth_frac[0, 0]), float(depth_frac[is_cut].mean()) if longer else 0.0
    is_shadow = (
        shorter >= FEWEST_SQUARES
        and longer <= MOST_UNLIKE * shorter
        and (deepest > SEE_THROUGH_DEPTH or mean < MEAN_OF_DEEPEST * deepest)
    )
    return grown(is_cut, MARGIN_SQUARES, by_corners=True) if is_shadow else np.zeros_like(is_cut)
