"""A flattened frame full of shadows that stand apart, each drawn by wave optics.

Made for checks against other people's measuring: what the shadows are is known, what is in
between is white noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from fields import flat_frame, noisy
from motemap.detect import detect
from motemap.measure import measure, owners
from motemap.settings import DetectSettings
from motemap.synth.masks import SpeckMask
from motemap.synth.shadow import ShadowOptics, cast_shadow
from motemap.synth.shapes import random_outline
from motemap.synth.truth import whiten

if TYPE_CHECKING:
    from motemap.records import FlatFrame, MeasuredSpot

OPTICS = ShadowOptics(pitch_um=12.0, f_number=22.0, tau_um=1300.0)
"""Blur of 59 um, 4.9 cells of 12 um."""
SPACING = 64
ROWS, COLS = 5, 8
SHAPE = (ROWS * SPACING + 24, COLS * SPACING + 24)
SMALLEST_UM, LARGEST_UM = 16.0, 110.0


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A frame, the true centres of its shadows, and what the program says of them."""

    flat: FlatFrame
    centres: tuple[tuple[float, float], ...]
    spots: tuple[MeasuredSpot, ...]


@lru_cache(maxsize=2)
def drawn_field(noise_frac: float) -> Drawn:
    """Draw forty shadows of specks of 16 to 110 um, off the cells' centres, and measure them."""
    rng = np.random.default_rng(2024)
    contrast = noisy(SHAPE, noise_frac, 7)
    sizes_um = np.geomspace(SMALLEST_UM, LARGEST_UM, ROWS * COLS)
    centres = []
    for index, size_um in enumerate(sizes_um):
        row = (index // COLS + 0.5) * SPACING + 12 + rng.uniform(-2, 2)
        col = (index % COLS + 0.5) * SPACING + 12 + rng.uniform(-2, 2)
        mask = SpeckMask(outline=random_outline(rng, float(size_um)))
        shadow = cast_shadow(mask, OPTICS, row_px=row, col_px=col)
        loss = whiten(shadow.loss)
        top, left = shadow.top_px, shadow.left_px
        inner = np.s_[
            max(top, 0) : min(top + loss.shape[0], SHAPE[0]),
            max(left, 0) : min(left + loss.shape[1], SHAPE[1]),
        ]
        part = loss[
            inner[0].start - top : inner[0].stop - top, inner[1].start - left : inner[1].stop - left
        ]
        contrast[inner] -= part * (1 + contrast[inner])
        centres.append((row, col))
    flat = flat_frame(contrast, noise_frac)
    found = detect(flat, widest_px=30.0, usual_px=15.0, settings=DetectSettings()).found
    owner = owners(flat, found)
    regions = enumerate(found.singly())
    spots = tuple(measure(flat, region, owner, index) for index, region in regions)
    return Drawn(flat=flat, centres=tuple(centres), spots=spots)


def nearest(spots: tuple[MeasuredSpot, ...], row: float, col: float) -> MeasuredSpot:
    """Return the spot nearest to a place, which must be within three cells."""
    spot = min(spots, key=lambda one: np.hypot(one.centre.row_px - row, one.centre.col_px - col))
    distance = float(np.hypot(spot.centre.row_px - row, spot.centre.col_px - col))
    assert distance < 3, f"no spot near {row}, {col}: the nearest is {distance:.1f} cells off"
    return spot
