"""Flattened frames of known specks, fibres and far discs, drawn by wave optics and found again.

For tests of what a shadow says of its particle: each mark is known, the light between them is
white noise, and detecting and measuring are the program's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fields import flat_frame
from motemap.detect import detect
from motemap.measure import measure, owners
from motemap.settings import DetectSettings
from motemap.synth.masks import Mask, SpeckMask
from motemap.synth.shadow import ShadowOptics, cast_shadow
from motemap.synth.shapes import random_outline
from motemap.synth.truth import whiten

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpot

PITCH_UM = 5.0
WIDEST_STACK_UM = 3000.0
USUAL_STACK_UM = 1300.0
WIDEST_PARTICLE_UM = 150.0
FINEST_STACK_UM = 500.0
LARGEST_BIN_PX = 4
NEAR_PX = 15.0


@dataclass(frozen=True, kw_only=True)
class Laid:
    """A mark of known shape at a known place and distance."""

    row_px: float
    col_px: float
    tau_um: float
    mask: Mask
    size_um: float


@dataclass(frozen=True, kw_only=True)
class Cast:
    """What a mark's shadow truly is."""

    depth_frac: float
    lost_area_um2: float

    @property
    def particle_um(self) -> float:
        """Diameter of the opaque disc that takes as much light [um]."""
        return float(np.sqrt(4 * self.lost_area_um2 / np.pi))


@dataclass(frozen=True, kw_only=True)
class Found:
    """A drawn frame, flattened, and the mark nearest to each that was laid; None if none is."""

    flat: FlatFrame
    spots: tuple[MeasuredSpot, ...]
    matches: tuple[int | None, ...]
    casts: tuple[Cast, ...]


def specks(
    n_specks: int,
    seed: int,
    *,
    tau_um: float,
    sizes_um: tuple[float, float],
    apart_px: float,
    thin_share: float = 1 / 3,
) -> tuple[Laid, ...]:
    """Lay irregular specks on a loose grid, sizes evenly spread in logarithm.

    One in three lets part of the light pass, as in the program's own drawn frames.
    """
    rng = np.random.default_rng(seed)
    n_cols = int(np.ceil(np.sqrt(1.4 * n_specks)))
    laid = []
    for index in range(n_specks):
        size_um = float(np.exp(rng.uniform(*np.log(sizes_um))))
        opacity = float(rng.uniform(0.5, 1.0)) if rng.uniform() < thin_share else 1.0
        row, col = divmod(index, n_cols)
        laid.append(
            Laid(
                row_px=(row + 0.5) * apart_px + rng.uniform(-3, 3),
                col_px=(col + 0.5) * apart_px + rng.uniform(-3, 3),
                tau_um=tau_um,
                mask=SpeckMask(outline=random_outline(rng, size_um), opacity=opacity),
                size_um=size_um,
            )
        )
    return tuple(laid)


def cast(one: Laid, f_number: float, pitch_um: float = PITCH_UM) -> Cast:
    """Return how deep a mark is at an aperture and how much light it takes, free of noise."""
    optics = ShadowOptics(pitch_um=pitch_um, f_number=f_number, tau_um=one.tau_um)
    shadow = cast_shadow(one.mask, optics, row_px=one.row_px, col_px=one.col_px)
    return Cast(depth_frac=float(whiten(shadow.loss).max()), lost_area_um2=shadow.lost_area_um2)


def draw(
    laid: Sequence[Laid], f_number: float, pitch_um: float = PITCH_UM
) -> tuple[NDArray[np.float64], tuple[Cast, ...]]:
    """Draw marks on a bright frame just large enough, never square; no noise yet."""
    margin_px = 60
    rows = int(max(one.row_px for one in laid)) + 2 * margin_px
    cols = int(max(one.col_px for one in laid)) + 3 * margin_px
    light, casts = np.ones((rows, cols)), []
    for one in laid:
        optics = ShadowOptics(pitch_um=pitch_um, f_number=f_number, tau_um=one.tau_um)
        shadow = cast_shadow(one.mask, optics, row_px=one.row_px, col_px=one.col_px)
        loss = whiten(shadow.loss)
        top, left = shadow.top_px, shadow.left_px
        first_row, first_col = max(top, 0), max(left, 0)
        part = loss[first_row - top : rows - top, first_col - left : cols - left]
        light[first_row : first_row + part.shape[0], first_col : first_col + part.shape[1]] *= (
            1 - part
        )
        casts.append(Cast(depth_frac=float(loss.max()), lost_area_um2=shadow.lost_area_um2))
    return light, tuple(casts)


def bin_for(f_number: float, pitch_um: float = PITCH_UM) -> int:
    """Return the cell side the program itself would choose [px]."""
    wished = int(FINEST_STACK_UM / f_number / pitch_um / 2)
    return max(1, min(wished, LARGEST_BIN_PX))


def find(
    laid: Sequence[Laid],
    f_number: float,
    *,
    noise_frac: float = 0.006,
    seed: int = 0,
    pitch_um: float = PITCH_UM,
    widest_um: float | None = None,
) -> Found:
    """Draw marks, add noise, average in cells, find and measure."""
    light, casts = draw(laid, f_number, pitch_um)
    bin_px = bin_for(f_number, pitch_um)
    rows, cols = (side // bin_px for side in light.shape)
    cells = light[: rows * bin_px, : cols * bin_px].reshape(rows, bin_px, cols, bin_px)
    noise = noise_frac / bin_px
    rng = np.random.default_rng(seed)
    contrast = cells.mean(axis=(1, 3)) * (1 + noise * rng.standard_normal((rows, cols))) - 1
    flat = flat_frame(contrast.astype(np.float32), noise, bin_px=bin_px)
    widest = widest_um or WIDEST_STACK_UM / f_number + WIDEST_PARTICLE_UM
    found = detect(
        flat,
        widest_px=widest / pitch_um,
        usual_px=USUAL_STACK_UM / f_number / pitch_um,
        settings=DetectSettings(),
    ).found
    owner = owners(flat, found)
    regions = enumerate(found.singly())
    spots = tuple(measure(flat, region, owner, index) for index, region in regions)
    return Found(
        flat=flat,
        spots=spots,
        matches=tuple(_nearest(spots, one) for one in laid),
        casts=casts,
    )


def _nearest(spots: tuple[MeasuredSpot, ...], one: Laid) -> int | None:
    apart = [
        np.hypot(spot.centre.row_px - one.row_px, spot.centre.col_px - one.col_px) for spot in spots
    ]
    if not apart or min(apart) > NEAR_PX:
        return None
    return int(np.argmin(apart))


def moved(laid: Sequence[Laid], tau_um: float) -> tuple[Laid, ...]:
    """Return the same marks at another distance."""
    return tuple(replace(one, tau_um=tau_um) for one in laid)
