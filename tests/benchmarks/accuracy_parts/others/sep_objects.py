"""sep: smoothing kernel, threshold in units of the noise, deblending."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import sep

from accuracy_parts.others.kernels import bell
from accuracy_parts.scoring import Found

if TYPE_CHECKING:
    from accuracy_parts.others.detector import Scene

PIXEL_STACK = 3_000_000
FWHM_PER_SIGMA = 2.3548


@dataclass(frozen=True, slots=True, kw_only=True)
class SepObjects:
    """`sep.extract` on significance, with its default deblending."""

    name: str = "sep"
    thresholds: tuple[float, ...] = (3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 8.0, 12.0)
    kernel_fwhm_px: float = 4.0
    least_area_px2: float = 12.0

    def find(self, scene: Scene, threshold: float) -> list[Found]:
        """Return the objects darker than the background."""
        sep.set_extract_pixstack(PIXEL_STACK)
        objects = sep.extract(
            np.ascontiguousarray(scene.significance),
            threshold,
            err=1.0,
            mask=~scene.usable,
            minarea=max(3, round(self.least_area_px2 / scene.bin_px**2)),
            filter_kernel=bell(self.kernel_fwhm_px / scene.bin_px),
            filter_type="matched",
        )
        return [
            Found(
                row_px=scene.to_px(float(one["y"])),
                col_px=scene.to_px(float(one["x"])),
                width_px=FWHM_PER_SIGMA * float(one["b"]) * scene.bin_px,
            )
            for one in objects
        ]
