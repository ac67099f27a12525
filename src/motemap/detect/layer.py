"""The flattened frame as one level of the search sees it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import SQUARE, all_of_squares, pool
from motemap.planes import Thinned

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
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

    def lowest(self, rows: slice, settings: DetectSettings) -> NDArray[np.float32] | np.float32:
        """Return the smallest depth of an answer in some rows that is followed up."""
        floor = np.float32(settings.depth_min_frac)
        return floor if self.floor_frac is None else np.maximum(self.floor_frac[rows, :], floor)

    def bound(self, rows: slice, settings: DetectSettings) -> NDArray[np.float32]:
        """Return the contrast at which some rows are cut before filtering."""
        noise_frac = self.noise_frac[rows, :]
        lowest = self.lowest(rows, settings)
        bound: NDArray[np.float32] = np.maximum(KEEP_SIGMAS * noise_frac, KEEP_FLOORS * lowest)
        return bound

    @classmethod
    def of_squares(cls, flat: FlatFrame, mean: NDArray[np.float32]) -> Layer:
        """Return what the squares of a frame show, from their mean contrast."""
        return cls(
            plane=mean,
            # Smooth planes: one cell of a square tells all that it has to tell.
            noise_frac=Thinned(plane=flat.noise_frac, every=SQUARE, factor=1 / SQUARE),
            floor_frac=_thinned(flat.floor_frac),
            valid=None if flat.valid.all() else all_of_squares(flat.valid),
        )

    def pooled(self, dips: Dips) -> Layer:
        """Return the next coarser layer; what was found, and the cells next to it, is filled in."""
        height, width = self.plane.shape
        for down in (-1, 0, 1):
            for right in (-1, 0, 1):
                rows = (dips.rows + down).clip(0, height - 1)
                cols = (dips.cols + right).clip(0, width - 1)
                self.plane[rows, cols] = 0
        return Layer(
            plane=pool(self.plane),
            noise_frac=Thinned(plane=self.noise_frac, every=SQUARE, factor=1 / SQUARE),
            floor_frac=_thinned(self.floor_frac),
            valid=None if self.valid is None else all_of_squares(self.valid),
        )


def _thinned(floor_frac: Windows | None) -> Windows | None:
    return None if floor_frac is None else Thinned(plane=floor_frac, every=SQUARE)
