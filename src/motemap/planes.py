"""Planes that are kept small and looked at through windows.

A plane of tens of megapixels in floating point costs more to fetch from memory than to reckon
with. What is smooth is kept as a basis and a few lines, what is faint as 16-bit numbers; a
window of either is worked out when it is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Windows

Window = tuple[slice, slice]
"""Rows and columns of a part of a plane; where places are worked out, both ends are given."""

CONTRAST_STEP: Final = np.float32(2.0**-15)
"""Step of stored contrast: a hundredth of the noise of the quietest frame, or less."""
_LARGEST = np.float32(np.iinfo(np.int16).max)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A smooth plane: ``down @ lines``.

    Parameters
    ----------
    down : (H, m) float32
        Basis along the rows.
    lines : (m, W) float32
        What each column of the basis is multiplied with.
    """

    down: NDArray[np.float32]
    lines: NDArray[np.float32]

    @classmethod
    def of_bases(
        cls,
        down: NDArray[np.float32],
        core: NDArray[np.float32],
        across: NDArray[np.float32],
    ) -> Surface:
        """Return ``down @ core @ across.T``, from bases along the rows and along the columns."""
        return cls(down=down, lines=core @ across.T)

    @classmethod
    def even(cls, shape: tuple[int, int], value: float) -> Surface:
        """Return a surface that is the same everywhere."""
        height, width = shape
        return cls(
            down=np.ones((height, 1), np.float32), lines=np.full((1, width), value, np.float32)
        )

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.down.shape[0], self.lines.shape[1]

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the values in a window."""
        rows, cols = window
        down = self.down[rows]
        # Most of a basis of boxes is 0 over a few rows.
        near = np.flatnonzero(down.any(axis=0))
        return np.asarray(down[:, near] @ self.lines[near, cols], dtype=np.float32)

    def at(self, rows: NDArray[np.intp], cols: NDArray[np.intp]) -> NDArray[np.float32]:
        """Return the values of single cells, (n,)."""
        if not rows.size:
            return np.zeros(0, np.float32)
        near = np.flatnonzero(self.down[rows.min() : rows.max() + 1].any(axis=0))[:, None]
        values: NDArray[np.float32] = np.einsum(
            "kn,kn->n", cells_at(self.down, rows, near), cells_at(self.lines, near, cols)
        )
        return values

    def crops(
        self, top: NDArray[np.intp], left: NDArray[np.intp], shape: tuple[int, int]
    ) -> NDArray[np.float32]:
        """Return the values in windows of one shape, (n, h, w), given where each begins."""
        height, width = shape
        rows = slice(int(top.min(initial=0)), int(top.max(initial=0)) + height)
        # Most of a basis of boxes is 0 over a few rows.
        near = np.flatnonzero(self.down[rows].any(axis=0))
        down = self.down[rows, near][(top - rows.start)[:, None] + np.arange(height)]
        lines = self.lines[near].T[left[:, None] + np.arange(width)]
        values: NDArray[np.float32] = down @ lines.transpose(0, 2, 1)
        return values

    def __add__(self, other: Surface) -> Surface:
        """Return the sum of two surfaces of one shape."""
        return Surface(
            down=np.hstack([self.down, other.down]), lines=np.vstack([self.lines, other.lines])
        )


Value = TypeVar("Value", bound=np.generic)


def enlarge(plane: NDArray[Value], side: int) -> NDArray[Value]:
    """Repeat every cell `side` times along both axes."""
    if side == 1:
        return plane
    # Across first, while the plane is small: copying whole rows is cheap, single cells are not.
    return np.repeat(enlarge_across(plane, side), side, axis=0)


def enlarge_across(plane: NDArray[Value], side: int) -> NDArray[Value]:
    """Repeat every cell `side` times along the rows."""
    height, width = plane.shape
    across = np.empty((height, width, side), plane.dtype)
    # All first ones, then all second ones: a third of the time of `numpy.repeat`.
    for place in range(side):
        across[:, :, place] = plane
    return across.reshape(height, width * side)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steps:
    """A plane that is the same over squares of cells.

    Parameters
    ----------
    values : (h, w) float32
        One a square; squares that are not there have the value of the nearest one.
    side : int
        Cells along the side of a square.
    shape : (int, int)
        Rows and columns of the plane.
    """

    values: NDArray[np.float32]
    side: int
    shape: tuple[int, int]

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the values in a window."""
        down, right = (
            np.minimum(np.arange(*part.indices(n_cells)) // self.side, n_squares - 1)
            for n_cells, part, n_squares in zip(self.shape, window, self.values.shape, strict=True)
        )
        if not right.size:
            return np.empty((down.size, 0), np.float32)
        # One axis after the other: ten times as fast as both at once. All places are there.
        left = right[0]
        near = self.values[:, left : right[-1] + 1]
        across: NDArray[np.float32] = near[down].take(right - left, axis=1, mode="clip")
        return across

    def at(self, rows: NDArray[np.intp], cols: NDArray[np.intp]) -> NDArray[np.float32]:
        """Return the values of single cells, (n,)."""
        down, right = (
            np.minimum(places // self.side, n_squares - 1)
            for places, n_squares in zip((rows, cols), self.values.shape, strict=True)
        )
        values: NDArray[np.float32] = self.values[down, right]
        return values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contrast:
    """Light over background minus 1, in steps of 2**-15; light above twice the background is cut.

    Parameters
    ----------
    codes : (H, W) int16
        Contrast over `CONTRAST_STEP`.
    """

    codes: NDArray[np.int16]

    def __post_init__(self) -> None:
        self.codes.setflags(write=False)

    @classmethod
    def of(cls, contrast: NDArray[np.floating]) -> Contrast:
        """Keep a whole plane of contrast."""
        return cls(codes=to_codes(contrast.astype(np.float32)))

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        height, width = self.codes.shape
        return height, width

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the contrast in a window."""
        return np.multiply(self.codes[window], CONTRAST_STEP, dtype=np.float32)

    def crops(
        self, top: NDArray[np.intp], left: NDArray[np.intp], shape: tuple[int, int]
    ) -> NDArray[np.float32]:
        """Return the contrast in windows of one shape, (n, h, w), given where each begins."""
        codes = sliding_window_view(self.codes, shape)[top, left]
        return codes.astype(np.float32) * CONTRAST_STEP

    def at(self, rows: NDArray[np.intp], cols: NDArray[np.intp]) -> NDArray[np.float32]:
        """Return the contrast of single cells, (n,)."""
        return cells_at(self.codes, rows, cols).astype(np.float32) * CONTRAST_STEP


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Thinned:
    """Every so many-th cell of a smooth plane along both axes, times a number.

    Parameters
    ----------
    plane : (H, W) float32
    every : int
    factor : float
    """

    plane: Windows
    every: int
    factor: float = 1.0

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        height, width = (-(-n_cells // self.every) for n_cells in self.plane.shape)
        return height, width

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the values in a window."""
        rows, cols = (self._of_plane(part) for part in window)
        return self.plane[rows, cols] * np.float32(self.factor)

    def at(self, rows: NDArray[np.intp], cols: NDArray[np.intp]) -> NDArray[np.float32]:
        """Return the values of single cells, (n,)."""
        values = values_at(self.plane, rows * self.every, cols * self.every)
        return values * np.float32(self.factor)

    def _of_plane(self, part: slice) -> slice:
        start, stop, step = (
            None if number is None else number * self.every
            for number in (part.start, part.stop, part.step or 1)
        )
        return slice(start, stop, step)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blanked:
    """A plane that is 0 where it does not count.

    Parameters
    ----------
    plane : (H, W) float32
    valid : (H, W) bool
    """

    plane: Windows
    valid: NDArray[np.bool_]

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        return self.plane.shape

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the values in a window."""
        return np.where(self.valid[window], self.plane[window], np.float32(0))


def cells_at(
    plane: NDArray[Value], rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> NDArray[Value]:
    """Return single cells of an array; rows and columns broadcast, and all have to be there.

    Looked up by one number a cell, several times as fast as by two.
    """
    cells: NDArray[Value] = plane.take(rows * plane.shape[1] + cols, mode="clip")
    return cells


def values_at(
    plane: Windows, rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> NDArray[np.float32]:
    """Return the values of single cells, (n,); of an unknown kind of plane out of one window.

    Of contrast, and of unknown kinds, rows and columns broadcast.
    """
    if isinstance(plane, Surface | Steps | Contrast | Thinned):
        return plane.at(rows, cols)
    if not rows.size:
        return np.zeros(0, np.float32)
    top, left = rows.min(), cols.min()
    around = plane[top : rows.max() + 1, left : cols.max() + 1]
    values: NDArray[np.float32] = around[rows - top, cols - left]
    return values


def crops_of(
    plane: Windows, top: NDArray[np.intp], left: NDArray[np.intp], shape: tuple[int, int]
) -> NDArray[np.float32]:
    """Return the values in windows of one shape, (n, h, w); of most kinds of planes one by one.

    Parameters
    ----------
    plane : Windows
        (H, W) float32
    top, left : (n,) int
        Row and column at which each begins; all lie within the plane.
    shape : (int, int)
    """
    if isinstance(plane, Surface | Contrast):
        return plane.crops(top, left, shape)
    height, width = shape
    stack = np.empty((len(top), height, width), np.float32)
    for crop, first_row, first_col in zip(stack, top.tolist(), left.tolist(), strict=True):
        crop[...] = plane[first_row : first_row + height, first_col : first_col + width]
    return stack


def cell_values(
    plane: Windows, rows: NDArray[np.float64], cols: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the values of the cells nearest to some places, (n,); places outside are moved in.

    Parameters
    ----------
    plane : Windows
        (H, W) float32
    rows, cols : (n,) float64
        Places in cells.
    """
    last_row, last_col = plane.shape[0] - 1, plane.shape[1] - 1
    down = np.clip(np.rint(rows), 0, last_row).astype(np.intp)
    right = np.clip(np.rint(cols), 0, last_col).astype(np.intp)
    return values_at(plane, down, right).astype(np.float64)


def to_codes(contrast: NDArray[np.float32]) -> NDArray[np.int16]:
    """Return contrast in steps of 2**-15, rounded, as `Contrast` keeps it; it is used up."""
    contrast *= np.float32(1) / CONTRAST_STEP
    np.rint(contrast, out=contrast)
    np.clip(contrast, -_LARGEST, _LARGEST, out=contrast)
    return contrast.astype(np.int16)
