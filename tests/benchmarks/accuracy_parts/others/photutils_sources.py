"""photutils: convolution, segmentation, deblending."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from astropy.utils.exceptions import AstropyUserWarning
from photutils.segmentation import SourceCatalog, deblend_sources, detect_sources
from photutils.utils.exceptions import NoDetectionsWarning
from scipy import ndimage

from accuracy_parts.others.kernels import bell
from accuracy_parts.scoring import Found

if TYPE_CHECKING:
    from accuracy_parts.others.detector import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotutilsSources:
    """`detect_sources` and `deblend_sources` on smoothed significance."""

    name: str = "photutils"
    thresholds: tuple[float, ...] = (6.0, 7.5, 9.0, 11.0, 14.0)
    kernel_fwhm_px: float = 5.0
    least_area_px2: float = 12.0
    n_levels: int = 16
    contrast: float = 0.005

    def find(self, scene: Scene, threshold: float) -> list[Found]:
        """Return the sources darker than the background; thresholds are in smoothed noise."""
        kernel = bell(self.kernel_fwhm_px / scene.bin_px)
        smooth = ndimage.convolve(scene.significance, kernel.astype(np.float32), mode="reflect")
        bar = threshold * float(np.sqrt((kernel**2).sum()))
        n_cells = max(3, round(self.least_area_px2 / scene.bin_px**2))
        with warnings.catch_warnings():
            # It says when nothing is found, and when it parts some on a linear scale.
            warnings.simplefilter("ignore", NoDetectionsWarning)
            warnings.simplefilter("ignore", AstropyUserWarning)
            segments = detect_sources(smooth, bar, n_pixels=n_cells)
            if segments is None:
                return []
            parted = deblend_sources(
                smooth,
                segments,
                n_pixels=n_cells,
                n_levels=self.n_levels,
                contrast=self.contrast,
                progress_bar=False,
            )
        catalogue = SourceCatalog(scene.significance, parted, convolved_data=smooth)
        rows, cols = np.atleast_1d(catalogue.y_centroid), np.atleast_1d(catalogue.x_centroid)
        return [
            Found(row_px=scene.to_px(float(row)), col_px=scene.to_px(float(col)))
            for row, col in zip(rows, cols, strict=True)
            if np.isfinite(row) and np.isfinite(col)
        ]
