"""Corners that a hood or a filter ring in front of the lens has cut off.

Stopped down, such a thing throws a shadow too sharp for the background to follow, and what is left
of it looks like a fibre, nearly black, across the corner. It is told by its size and its shape: it
holds the very corner, reaches along both borders farther than dirt does, or does so in two corners
alike, narrows towards its ends as no round thing does, and deepens all the way into the corner,
while a film on the sensor is about as deep everywhere. A hood that is reported as dirt costs another
shot, and dirt that is taken for a hood is missed: in doubt a corner is judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from motemap.masks import grown, label_pieces
from motemap.planes import enlarge

if TYPE_CHECKING:
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
FILLED_SHARE = 0.65
"""Share of the squares between its two ends that it takes, at most: what a straight edge cuts off has
a half, and the circle of a hood less; round dirt with its middle in the corner has 0.79 (derived)."""
ALONE_SHARE, ALONE_BLURS = 0.08, 8.0
"""A shadow in one corner only reaches along both borders by this share of the short side, which is 1 mm
on the smallest sensors of cameras with lenses to change (13 mm), and over so many blur discs; dirt in a
corner is hardly ever so large (a choice, no source)."""
FEWEST_SQUARES = 3
"""It reaches over so many squares along both borders at least: fewer show no shape."""
PAIR_BLURS = 2.0
"""In two corners alike, it reaches over so many blur discs, at least: beyond the shadow of any speck."""
ALIKE = 2.0
"""Reaches along the borders, and depths, of two corners alike differ by this factor, at most: a hood
may sit off the middle, and dirt is not the same in two corners; a choice."""
MARGIN_SQUARES = 2
"""So many squares round the shadow are left out, too, where it fades; a choice."""
MOST_UNLIKE = 4
"""Longer over shorter reach along the two borders, at most; a thing lying along one of them has more."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shadow:
    """What may have cut a corner off.

    A window in the corner and which of its cells are dark; how far the shadow reaches down and
    across [cells], and how deep it is in the corner.
    """

    window: Window
    cells: NDArray[np.bool_]
    down: int
    across: int
    depth_frac: float

    @property
    def reach(self) -> int:
        """How far it reaches along both borders [cells]."""
        return min(self.down, self.across)

    def is_like(self, other: _Shadow) -> bool:
        """Whether one hood may throw both."""
        mine = np.array([self.down, self.across, self.depth_frac])
        ratio = mine / [other.down, other.across, other.depth_frac]
        return bool(ratio.max() <= ALIKE and ratio.min() >= 1 / ALIKE)


def without_cut_corners(
    division: Division, usable: NDArray[np.bool_], *, bin_px: int, blur_px: float
) -> tuple[NDArray[np.bool_] | None, int]:
    """Return where a mark could be judged when corners that something has cut off are left out.

    Parameters
    ----------
    division : Division
        Its `valid` says what is left out already.
    usable : (H, W) bool
        Cells with a known light. Those of them that are not valid are too dark.
    bin_px : int
        Stored pixels along the side of a cell.
    blur_px : float
        Diameter of the blur disc of dust on the filter stack, at most [stored px].

    Returns
    -------
    (H, W) bool or None
        None when no corner is cut off.
    int
        How many corners are.
    """
    side = max(2, SQUARE_PX // bin_px)
    corners = product((False, True), (False, True))
    # Asked once for all corners: each answer is a pass over the picture.
    lines = np.asarray(usable.any(axis=1)), np.asarray(usable.any(axis=0))
    found = [_shadow(division, usable, lines, side, corner) for corner in corners]
    shadows = [shadow for shadow in found if shadow is not None]
    blur_cells = blur_px / bin_px
    alone = max(ALONE_SHARE * min(division.shape), ALONE_BLURS * blur_cells)
    in_pair = [shadow for shadow in shadows if shadow.reach >= PAIR_BLURS * blur_cells]
    cuts = [
        shadow
        for shadow in shadows
        if shadow.reach >= alone
        or (shadow in in_pair and sum(shadow.is_like(other) for other in in_pair) > 1)
    ]
    if not cuts:
        return None, 0
    valid = np.ones(division.shape, np.bool_) if division.valid is None else division.valid.copy()
    for cut in cuts:
        valid[cut.window] &= ~cut.cells
    return valid, len(cuts)


def _shadow(
    division: Division,
    usable: NDArray[np.bool_],
    lines: tuple[NDArray[np.bool_], NDArray[np.bool_]],
    side: int,
    corner: tuple[bool, bool],
) -> _Shadow | None:
    """Return what looks like the shadow of a hood in a corner (is it low, is it right), if anything.

    `lines` are the rows and the columns of which any cell is usable.
    """
    n_squares = int(FARTHEST_SHARE * min(division.shape)) // side
    ways = [-1 if is_far else 1 for is_far in corner]
    # A strip without any light of its own, as sensors have beside the picture, is no part of it.
    rows, cols = (_span(line, n_squares * side, way) for line, way in zip(lines, ways, strict=True))
    turn = slice(None, None, ways[0]), slice(None, None, ways[1])
    nearest = tuple(
        slice(at.start, at.start + side) if way > 0 else slice(at.stop - side, at.stop)
        for at, way in zip((rows, cols), ways, strict=True)
    )
    if (
        n_squares < FEWEST_SQUARES
        or _depths(division, usable, (nearest[0], nearest[1]), side)[0, 0] < LEAST_DEPTH
    ):
        return None
    depth_frac = _depths(division, usable, (rows, cols), side)[turn]
    label = label_pieces(depth_frac > EDGE_DEPTH, by_corners=False)
    is_dark = label == label[0, 0]
    # What is as dark all along a border is no corner: argmin then counts it as reaching nowhere.
    down, across = int(np.argmin(is_dark[:, 0])), int(np.argmin(is_dark[0]))
    if not _is_cut(depth_frac, is_dark, down, across):
        return None
    near = grown(is_dark, MARGIN_SQUARES, by_corners=True)
    return _Shadow(
        window=(rows, cols),
        cells=enlarge(near[turn], side),
        down=down * side,
        across=across * side,
        depth_frac=float(depth_frac[0, 0]),
    )


def _span(is_usable: NDArray[np.bool_], reach: int, way: int) -> slice:
    """Return so many rows or columns from the first or from the last that can be used."""
    start = int(np.argmax(is_usable[::way]))
    # Where hardly any can be used the rest is looked at: all of it is unknown.
    start = min(start, len(is_usable) - reach)
    return (
        slice(start, start + reach)
        if way > 0
        else slice(len(is_usable) - start - reach, len(is_usable) - start)
    )


def _depths(
    division: Division, usable: NDArray[np.bool_], window: Window, side: int
) -> NDArray[np.float32]:
    """Return by how much the squares of a window are darker than the background, (n, n).

    What was too dark for the background to tell is black. Cells without a known light do not count,
    and a square of nothing else is not dark.
    """
    contrast, known = division[window], usable[window]
    if division.valid is not None:
        contrast[known & ~division.valid[window]] = -1
    n_along = len(contrast) // side
    squares = (n_along, side, n_along, side)
    # The contrast of what is unknown is 0.
    lost = -contrast.reshape(squares).sum(axis=(1, 3))
    n_known = known.reshape(squares).sum(axis=(1, 3))
    return np.asarray(lost / np.maximum(n_known, 1), dtype=np.float32)


def _is_cut(
    depth_frac: NDArray[np.float32], is_dark: NDArray[np.bool_], down: int, across: int
) -> bool:
    """Whether dark squares, counted from a corner, have the shape of a hood's shadow."""
    shorter, longer = sorted((down, across))
    if shorter < FEWEST_SQUARES or longer > MOST_UNLIKE * shorter:
        return False
    # Squares along a straight edge are counted whole: half of them are too many.
    filled = np.count_nonzero(is_dark) - longer / 2
    deepest, mean = float(depth_frac[0, 0]), float(depth_frac[is_dark].mean())
    deepens = deepest > SEE_THROUGH_DEPTH or mean < MEAN_OF_DEEPEST * deepest
    return deepens and bool(filled <= FILLED_SHARE * down * across)
