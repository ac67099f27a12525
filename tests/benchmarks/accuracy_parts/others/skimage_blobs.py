"""scikit-image's three blob finders on significance, in cells four pixels wide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from skimage import feature, measure

from accuracy_parts.scoring import Found

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from accuracy_parts.others.detector import Scene

FINDERS: Any = feature
REDUCE: Any = measure
"""Parts of scikit-image without types."""
CELL_PX = 4
CLIP_SIGMAS = 40.0
"""Depth is cut here: the scale-space peaks of deep marks would crowd out faint neighbours."""
FWHM_PER_SIGMA = 2.3548
THRESHOLDS = {
    "log": (2.4, 2.8, 3.2, 3.6, 4.0, 4.8, 5.6, 8.0),
    "dog": (2.0, 2.3, 2.6, 3.0, 3.4, 4.0, 5.6, 8.0),
    "doh": (0.8, 1.2, 1.6, 2.4, 3.2, 4.8, 8.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SkimageBlobs:
    """`blob_log`, `blob_dog` or `blob_doh`."""

    method: Literal["log", "dog", "doh"]
    smallest_sigma_px: float = 4.0
    largest_sigma_px: float = 24.0
    overlap: float = 0.3

    @property
    def name(self) -> str:
        """Name of the function."""
        return f"blob_{self.method}"

    @property
    def thresholds(self) -> tuple[float, ...]:
        """Response in units of the noise of a cell."""
        return THRESHOLDS[self.method]

    def find(self, scene: Scene, threshold: float) -> list[Found]:
        """Return the blobs darker than the background."""
        step = max(1, CELL_PX // scene.bin_px)
        plane = self._pooled(scene.significance, step)
        cell_px = step * scene.bin_px
        blobs = self._blobs(plane, threshold, cell_px)
        return [
            Found(
                row_px=(float(row) + 0.5) * cell_px - 0.5,
                col_px=(float(col) + 0.5) * cell_px - 0.5,
                width_px=FWHM_PER_SIGMA * float(sigma) * cell_px,
            )
            for row, col, sigma in blobs
        ]

    @staticmethod
    def _pooled(significance: NDArray[np.float32], step: int) -> NDArray[np.float64]:
        """Average squares of cells, and bring the noise back to 1."""
        rows, cols = (length // step * step for length in significance.shape)
        pooled = REDUCE.block_reduce(significance[:rows, :cols], (step, step), np.mean) * step
        clipped: NDArray[np.float64] = np.clip(pooled, -CLIP_SIGMAS, CLIP_SIGMAS).astype(np.float64)
        return clipped

    def _blobs(
        self, plane: NDArray[np.float64], threshold: float, cell_px: int
    ) -> NDArray[np.float64]:
        low, high = self.smallest_sigma_px / cell_px, self.largest_sigma_px / cell_px
        common = {"threshold": threshold, "overlap": self.overlap}
        blobs: NDArray[np.float64]
        if self.method == "log":
            blobs = FINDERS.blob_log(plane, min_sigma=low, max_sigma=high, num_sigma=6, **common)
        elif self.method == "dog":
            blobs = FINDERS.blob_dog(plane, min_sigma=low, max_sigma=high, **common)
        else:
            blobs = FINDERS.blob_doh(plane, min_sigma=low, max_sigma=high, num_sigma=6, **common)
        return blobs
