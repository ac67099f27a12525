"""Light over background minus 1, strip by strip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.planes import Contrast, to_codes
from motemap.strips import cell_strips, for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.flatten.stripes import Stripes
    from motemap.planes import Surface, Window


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Division:
    """The contrast of a frame, worked out for one window at a time.

    Parameters
    ----------
    light : (H, W) float32
    background : (H, W) Surface
    least : float
        The background counts as no darker than this.
    valid : (H, W) bool or None
        Elsewhere the contrast is 0; None when all cells count.
    """

    light: NDArray[np.float32]
    background: Surface
    least: float
    valid: NDArray[np.bool_] | None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.background.shape

    def __getitem__(self, window: Window, /) -> NDArray[np.float32]:
        """Return the contrast in a window."""
        contrast = self.background[window]
        # To look first takes a tenth of the time, and hardly a window is so dark.
        if contrast.min() < self.least:
            np.maximum(contrast, np.float32(self.least), out=contrast)
        np.divide(self.light[window], contrast, out=contrast)
        contrast -= np.float32(1.0)
        return self._blanked(contrast, window)

    def _blanked(self, contrast: NDArray[np.float32], window: Window) -> NDArray[np.float32]:
        if self.valid is not None:
            contrast[~self.valid[window]] = 0
        return contrast

    def without(self, stripes: Stripes) -> Contrast:
        """Return the contrast of the whole frame, banding taken out."""
        height, width = self.shape
        codes = np.empty((height, width), np.int16)

        def fill(rows: slice) -> None:
            window = (rows, slice(None))
            contrast = self[window]
            if stripes.are_there:
                contrast -= stripes.rows[rows, None]
                contrast -= stripes.cols[None, :]
                contrast = self._blanked(contrast, window)
            codes[rows] = to_codes(contrast)

        for_each(fill, cell_strips(height, width))
        return Contrast(codes=codes)
