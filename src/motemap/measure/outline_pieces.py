"""The straight pieces of which outlines are made, and what follows from them.

Between four neighbouring cells an outline runs straight from one side of their square to
another; where on a side follows from the two values at its ends. Going round a square from
corner to corner, it leaves the mark on one side and enters it again on another: laid from the
one to the other, all pieces join to closed lines that run one way round a mark and the other
way round its holes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

CORNERS = ((0, 0), (0, 1), (1, 1), (1, 0))
"""Rows and columns of a square's corners, clockwise; corner i counts 2^i when it is inside."""
N_CORNERS = len(CORNERS)
WHOLE = 15
"""A square with all four corners inside: 1 + 2 + 4 + 8."""
N_KINDS = 16
"""Ways in which four corners may be inside or not."""
LEAST_RATIO = 1e-9
"""Keeps areas and lengths that may be 0 from being divided by."""
BEND = 0.4
"""As found on drawn marks, against depths laid evenly through a grid three times as fine."""


def _sides(kind: int, *, is_joined: bool) -> list[tuple[int, int]]:
    """Return from which side to which each piece runs; side i lies between corner i and i + 1.

    Where opposite corners are inside they are joined in the middle, or each cut off.
    """
    is_in = [bool(kind >> corner & 1) for corner in range(N_CORNERS)]
    leaves = [
        side for side in range(N_CORNERS) if is_in[side] and not is_in[(side + 1) % N_CORNERS]
    ]
    step = 1 if is_joined else -1
    pieces = []
    for side in leaves:
        end = (side + step) % N_CORNERS
        while is_in[end] or not is_in[(end + 1) % N_CORNERS]:
            end = (end + step) % N_CORNERS
        pieces.append((side, end))
    return pieces


def _table() -> NDArray[np.intp]:
    """Return start and end side of up to two pieces, (2, 2, kinds joined or not); -1 for none."""
    table = np.full((2, 2, 2 * N_KINDS), -1, np.intp)
    for kind in range(N_KINDS):
        for is_joined in (False, True):
            for nth, piece in enumerate(_sides(kind, is_joined=is_joined)):
                table[nth, :, kind + N_KINDS * is_joined] = piece
    return table


TABLE = _table()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OutlinePieces:
    """The k pieces of the outlines of n marks.

    Parameters
    ----------
    n_marks : int
    mark : (k,) int
        Which mark each belongs to.
    corner : (k,) int
        Upper left cell of the square it crosses, counted through all maps.
    start, end : (2, k) float64
        Row and column of its ends, from the middle of the map [cells].
    turn : (k,) float64
        Twice the area between its ends and the middle, positive clockwise [cells2].
    length : (k,) float64
        How long it is [cells].
    """

    n_marks: int
    mark: NDArray[np.intp]
    corner: NDArray[np.intp]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    turn: NDArray[np.float64]
    length: NDArray[np.float64]

    def area(self, which: NDArray[np.bool_] | None = None) -> NDArray[np.float64]:
        """Return the area within the outlines, holes taken off, (n,) [cells2].

        `which` picks out some of the pieces.
        """
        turn = self.turn if which is None else np.where(which, self.turn, 0.0)
        return self._sum(turn) / 2

    def perimeter(self) -> NDArray[np.float64]:
        """Return the length of the outlines, (n,) [cells]."""
        return self._sum(self.length)

    def cut_off(self) -> NDArray[np.float64]:
        """Return what straight pieces cut off the outlines, (n,) [cells2].

        A chord of length l cuts ``l^3 / (12 r)`` off a circle of radius r, and an outline, whatever
        its shape, bends by one full turn on its way. Where depth runs evenly between the four
        corners of a square the outline bends by `BEND` of that.
        """
        whole = np.maximum(self.perimeter(), LEAST_RATIO)
        cut: NDArray[np.float64] = self._sum(self.length**3) * (BEND * 2 * np.pi / 12) / whole
        return cut

    def axis_ratio(self) -> NDArray[np.float64]:
        """Return length over width of the ellipses with the outlines' second moments, (n,)."""
        turn = self.turn
        area = np.maximum(self._sum(turn) / 2, LEAST_RATIO)
        (row, col), (row1, col1) = self.start, self.end
        mid_row = self._sum(turn * (row + row1)) / 6 / area
        mid_col = self._sum(turn * (col + col1)) / 6 / area
        down = self._sum(turn * (row * row + row * row1 + row1 * row1)) / 12 / area - mid_row**2
        across = self._sum(turn * (col * col + col * col1 + col1 * col1)) / 12 / area - mid_col**2
        mixed = row * col1 + 2 * row * col + 2 * row1 * col1 + row1 * col
        slant = self._sum(turn * mixed) / 24 / area - mid_row * mid_col
        middle, apart = (down + across) / 2, np.hypot((down - across) / 2, slant)
        low = np.maximum(middle - apart, LEAST_RATIO)
        return np.sqrt(np.maximum((middle + apart) / low, 1.0))

    def touch(self, cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return which pieces lie at cells of some kind, (k,)."""
        touched = np.zeros(self.mark.size, bool)
        for down, right in CORNERS:
            touched |= cells.ravel()[self.corner + down * cells.shape[2] + right]
        return touched

    def _sum(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(self.mark, values, self.n_marks).astype(np.float64)


def outline_pieces(over: NDArray[np.float32]) -> OutlinePieces:
    """Follow the lines on which some maps are 0.

    Parameters
    ----------
    over : (n, h, w) float32
        Positive inside; nowhere along the border of a map.
    """
    n_marks, height, width = over.shape
    depth = over.ravel()
    is_in = (depth > 0).view(np.uint8)
    # Squares are counted by their first corner. None begins in the last row or column of a map:
    # there, as in the first of the next, nothing is inside.
    steps = [down * width + right for down, right in CORNERS]
    n_squares = depth.size - max(steps)
    kind = np.zeros(n_squares, np.uint8)
    for corner, step in enumerate(steps):
        kind |= is_in[step : step + n_squares] << corner
    first = np.flatnonzero((kind != 0) & (kind != WHOLE))
    values = np.array([depth[first + step] for step in steps], np.float64)
    which = kind[first] + N_KINDS * (values.sum(axis=0) > 0)
    # Few squares have a second piece.
    twice = np.flatnonzero(TABLE[1, 0, which] >= 0)
    square = np.concatenate([np.arange(len(first)), twice])
    start_side, end_side = np.concatenate([TABLE[0][:, which], TABLE[1][:, which[twice]]], axis=1)
    corner = first[square]
    mark, within = np.divmod(corner, height * width)
    middle = np.array(np.divmod(within, width)) - np.array([[height], [width]]) / 2
    crossings = _crossings(values).reshape(2, -1)
    start, end = (
        middle + crossings.take(side * len(first) + square, axis=1)
        for side in (start_side, end_side)
    )
    return OutlinePieces(
        n_marks=n_marks,
        mark=mark,
        corner=corner,
        start=start,
        end=end,
        turn=start[1] * end[0] - start[0] * end[1],
        length=np.hypot(*(end - start)),
    )


def _crossings(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return where outlines cross the sides of squares, given the values at their corners.

    Parameters
    ----------
    values : (4, k) float64

    Returns
    -------
    (2, 4, k) float64
        Row and column, from the upper left corner, for each side; meaningless where none crosses.
    """
    steps = values - np.roll(values, -1, axis=0)
    share = values / np.where(steps == 0, 1.0, steps)
    here = np.array(CORNERS, np.float64)
    step = np.roll(here, -1, axis=0) - here
    crossings: NDArray[np.float64] = here.T[:, :, None] + share * step.T[:, :, None]
    return crossings
