"""OpenCV's SimpleBlobDetector on an 8-bit picture of the significance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from accuracy_parts.scoring import Found

if TYPE_CHECKING:
    from accuracy_parts.others.detector import Scene

CODES_PER_SIGMA = 6.0
BACKGROUND_CODE = 240.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenCvBlobs:
    """Dark blobs of a smoothed plane that keep their centre over several thresholds."""

    name: str = "SimpleBlobDetector"
    thresholds: tuple[float, ...] = (4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 14.0)
    smoothing_px: float = 3.0
    least_area_px2: float = 16.0
    most_area_px2: float = 40000.0
    least_apart_px: float = 8.0

    def find(self, scene: Scene, threshold: float) -> list[Found]:
        """Return blobs deeper than so many sigmas of the smoothed plane."""
        sigma_cells = self.smoothing_px / scene.bin_px
        smooth = cv2.GaussianBlur(scene.significance, (0, 0), sigma_cells)
        scatter = max(float(1.4826 * np.median(np.abs(smooth[::3, ::3]))), 1e-9)
        codes = np.clip(BACKGROUND_CODE - CODES_PER_SIGMA / scatter * smooth, 0, 255)
        keys = self._detector(scene, threshold).detect(codes.astype(np.uint8))
        return [
            Found(
                row_px=scene.to_px(float(key.pt[1])),
                col_px=scene.to_px(float(key.pt[0])),
                width_px=float(key.size) * scene.bin_px,
            )
            for key in keys
        ]

    def _detector(self, scene: Scene, threshold: float) -> cv2.SimpleBlobDetector:
        wanted = cv2.SimpleBlobDetector.Params()
        wanted.minThreshold = 2.0
        wanted.maxThreshold = BACKGROUND_CODE - CODES_PER_SIGMA * threshold + 0.5
        wanted.thresholdStep = CODES_PER_SIGMA
        wanted.minRepeatability = 1
        wanted.minDistBetweenBlobs = self.least_apart_px / scene.bin_px
        wanted.filterByColor, wanted.blobColor = True, 0
        wanted.filterByArea = True
        wanted.minArea = self.least_area_px2 / scene.bin_px**2
        wanted.maxArea = self.most_area_px2 / scene.bin_px**2
        wanted.filterByCircularity = wanted.filterByInertia = wanted.filterByConvexity = False
        return cv2.SimpleBlobDetector.create(wanted)
