"""The flattened frame as one level of the search sees it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import SQUARE, all_of_squares, pool
from motemap.planes import Thinned, values_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.dips import Dips
    from motemap.records import FlatFrame, Windows
    from motemap.settings import DetectSettings

KEEP_SIGMAS = 12.0
"""Contrast is cut at so many sigmas before filtering, lest a deep mark hide its neighbours ..."""
KEEP_FLOORS = 4.0
"""... but never at less than so many times the smallest depth asked for: what is cut to less
could not reach it, as the filter passes on but half."""
KEEP_BRIGHT = 0.5
"""Light above the background is cut at this share of the bound for dark: it is never dust, and
raises the surround."""
LOOK_EVERY = 2
"""Noise is smooth: some of its cells tell which of the plane's have to be looked at one by one ..."""
LOOK_SHARE = 0.9
"""... from this share of the bound for those cells on."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """What the filters are not to see of some rows.

    Parameters
    ----------
    cells : (n,) int
        Numbers of the cells that were cut, counted along those rows.
    contrast : (n,) float32
        What they had.
    """

    cells: NDArray[np.intp]
    contrast: NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelPlane:
    """The flattened frame as one level sees it.

    Parameters
    ----------
    plane : (H, W) float32
        Contrast, 0 where it does not count and where finer levels found a mark.
    noise_frac : (H, W) float32
        Noise of one cell.
    floor_frac : (H, W) float32 or None
        Depth that coarse codes can feign.
    valid : (H, W) bool or None
        Cells that count; None when all do.
    """

    plane: NDArray[np.float32]
    noise_frac: Windows
    floor_frac: Windows | None
    valid: NDArray[np.bool_] | None

    def lowest_at(
        self, rows: NDArray[np.intp], cols: NDArray[np.intp], settings: DetectSettings
    ) -> NDArray[np.float32] | np.float32:
        """Return the smallest depth of an answer that is followed up at single cells."""
        floor = None if self.floor_frac is None else values_at(self.floor_frac, rows, cols)
        return _lowest(floor, settings)

    def cut(self, rows: slice, settings: DetectSettings) -> Cut:
        """Cut contrast in some rows of the plane before it is filtered; see `restore`."""
        n_cols = self.plane.shape[1]
        plane = self.plane[rows].reshape(-1, n_cols)
        some = slice(rows.start, rows.stop, LOOK_EVERY), slice(0, n_cols, LOOK_EVERY)
        floor = None if self.floor_frac is None else self.floor_frac[some]
        least = _bound(self.noise_frac[some], _lowest(floor, settings)).min(axis=0)
        near = np.float32(LOOK_SHARE) * np.repeat(least, LOOK_EVERY)[:n_cols]
        cells = np.flatnonzero((plane < -near) | (plane > KEEP_BRIGHT * near))
        contrast = plane.ravel()[cells]
        down, right = np.divmod(cells, n_cols)
        place = down + rows.start, right
        bound = _bound(values_at(self.noise_frac, *place), self.lowest_at(*place, settings))
        kept = np.clip(contrast, -bound, KEEP_BRIGHT * bound)
        plane.reshape(-1)[cells] = kept
        is_cut = kept != contrast
        return Cut(cells=cells[is_cut], contrast=contrast[is_cut])

    def restore(self, rows: slice, cut: Cut) -> None:
        """Give the cells of some rows back what was cut."""
        self.plane[rows].reshape(-1)[cut.cells] = cut.contrast

    @classmethod
    def of_squares(cls, flat: FlatFrame, mean: NDArray[np.float32]) -> LevelPlane:
        """Return what the squares of a frame show, from their mean contrast."""
        return cls(
            plane=mean,
            # Smooth planes: one cell of a square tells all that it has to tell.
            noise_frac=Thinned(plane=flat.noise_frac, every=SQUARE, factor=1 / SQUARE),
            floor_frac=_thinned(flat.floor_frac),
            valid=None if flat.valid.all() else all_of_squares(flat.valid),
        )

    def pooled(self, dips: Dips) -> LevelPlane:
        """Return the next coarser layer; what was found, and the cells next to it, is filled in."""
        height, width = self.plane.shape
        rows = [(dips.rows + down).clip(0, height - 1) * width for down in (-1, 0, 1)]
        cols = [(dips.cols + right).clip(0, width - 1) for right in (-1, 0, 1)]
        for row, col in product(rows, cols):
            self.plane.reshape(-1)[row + col] = 0
        return LevelPlane(
            plane=pool(self.plane),
            noise_frac=Thinned(plane=self.noise_frac, every=SQUARE, factor=1 / SQUARE),
            floor_frac=_thinned(self.floor_frac),
            valid=None if self.valid is None else all_of_squares(self.valid),
        )


def _lowest(
    floor_frac: NDArray[np.float32] | None, settings: DetectSettings
) -> NDArray[np.float32] | np.float32:
    """Return the smallest depth of an answer that is followed up at some cells."""
    least = np.float32(settings.depth_min_frac)
    return least if floor_frac is None else np.maximum(floor_frac, least)


def _bound(
    noise_frac: NDArray[np.float32], lowest: NDArray[np.float32] | np.float32
) -> NDArray[np.float32]:
    """Return the contrast at which cells are cut."""
    bound: NDArray[np.float32] = np.maximum(KEEP_SIGMAS * noise_frac, KEEP_FLOORS * lowest)
    return bound


def _thinned(floor_frac: Windows | None) -> Windows | None:
    return None if floor_frac is None else Thinned(plane=floor_frac, every=SQUARE)
