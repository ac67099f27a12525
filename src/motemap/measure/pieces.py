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
N_KINDS = 16
LEAST_RATIO = 1e-9
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
    """Return start and end side of up to two pieces, (kinds joined or not, 2, 2); -1 for none."""
    table = np.full((2 * N_KINDS, 2, 2), -1, np.intp)
    for kind in range(N_KINDS):
        for is_joined in (False, True):
            for nth, piece in enumerate(_sides(kind, is_joined=is_joined)):
                table[kind + N_KINDS * is_joined, nth] = piece
    return table


TABLE = _table()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """The k pieces of the outlines of n marks.

    Parameters
    ----------
    n_marks : int
    mark : (k,) int
        Which mark each belongs to.
    square : (k, 3) int
        Mark, row and column of the upper left cell of the square it crosses.
    start, end : (k, 2) float64
        Row and column of its ends, from the middle of the map [cells].
    """

    n_marks: int
    mark: NDArray[np.intp]
    square: NDArray[np.intp]
    start: NDArray[np.float64]
    end: NDArray[np.float64]

    def area(self, which: NDArray[np.bool_] | None = None) -> NDArray[np.float64]:
        """Return the area within the outlines, holes taken off, (n,) [cells2].

        `which` picks out some of the pieces.
        """
        turn = self._turn() if which is None else np.where(which, self._turn(), 0.0)
        return self._sum(turn) / 2

    def perimeter(self) -> NDArray[np.float64]:
        """Return the length of the outlines, (n,) [cells]."""
        return self._sum(self._lengths())

    def cut_off(self) -> NDArray[np.float64]:
        """Return what straight pieces cut off the outlines, (n,) [cells2].

        A chord of length l cuts ``l^3 / (12 r)`` off a circle of radius r, and an outline, whatever
        its shape, bends by one full turn on its way. Where depth runs evenly between the four
        corners of a square the outline bends by `BEND` of that.
        """
        lengths = self._lengths()
        whole = np.maximum(self._sum(lengths), LEAST_RATIO)
        cut: NDArray[np.float64] = self._sum(lengths**3) * (BEND * 2 * np.pi / 12) / whole
        return cut

    def axis_ratio(self) -> NDArray[np.float64]:
        """Return length over width of the ellipses with the outlines' second moments, (n,)."""
        turn = self._turn()
        area = np.maximum(self._sum(turn) / 2, LEAST_RATIO)
        (row, col), (row1, col1) = self.start.T, self.end.T
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
        mark, row, col = self.square.T
        touched = np.zeros(mark.size, bool)
        for down, right in CORNERS:
            touched |= cells[mark, row + down, col + right]
        return touched

    def _lengths(self) -> NDArray[np.float64]:
        along = self.end - self.start
        lengths: NDArray[np.float64] = np.hypot(along[:, 0], along[:, 1])
        return lengths

    def _turn(self) -> NDArray[np.float64]:
        turn: NDArray[np.float64] = (
            self.start[:, 1] * self.end[:, 0] - self.start[:, 0] * self.end[:, 1]
        )
        return turn

    def _sum(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(self.mark, values, self.n_marks).astype(np.float64)


def outline_pieces(over: NDArray[np.float32]) -> Pieces:
    """Follow the lines on which some maps are 0.

    Parameters
    ----------
    over : (n, h, w) float32
        Positive inside; nowhere along the border of a map.
    """
    is_in = (over > 0).view(np.uint8)
    rows, cols = over.shape[1] - 1, over.shape[2] - 1
    kind = np.zeros((len(over), rows, cols), np.uint8)
    for corner, (down, right) in enumerate(CORNERS):
        kind += is_in[:, down : down + rows, right : right + cols] << corner
    place = np.flatnonzero((kind != 0) & (kind != WHOLE))
    mark, within = np.divmod(place, rows * cols)
    row, col = np.divmod(within, cols)
    first = (mark * over.shape[1] + row) * over.shape[2] + col
    depth = over.ravel()
    values = np.array(
        [depth[first + down * over.shape[2] + right] for down, right in CORNERS], dtype=np.float64
    )
    is_joined = values.sum(axis=0) > 0
    sides = TABLE[kind.ravel()[place] + N_KINDS * is_joined]
    which, nth = np.nonzero(sides[:, :, 0] >= 0)
    start, end = (_crossings(values[:, which], sides[which, nth, to]) for to in (0, 1))
    square = np.stack([mark, row, col], axis=1)
    middle = square[which, 1:] - np.array(over.shape[1:]) / 2
    return Pieces(
        n_marks=len(over),
        mark=mark[which],
        square=square[which],
        start=middle + start,
        end=middle + end,
    )


def _crossings(values: NDArray[np.float64], side: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return where on a side of its square each outline crosses, (k, 2) [cells]."""
    one, other = side, (side + 1) % N_CORNERS
    every = np.arange(side.size)
    from_value, to_value = values[one, every], values[other, every]
    share = from_value / (from_value - to_value)
    corners = np.array(CORNERS, dtype=np.float64)
    crossing: NDArray[np.float64] = corners[one] + share[:, None] * (corners[other] - corners[one])
    return crossing
