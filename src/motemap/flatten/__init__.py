"""Divide out everything smooth: what is left is dust, noise and fine screen structure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.flatten.background import estimate_background
from motemap.flatten.blocks import QuietBlocks, quiet_blocks
from motemap.flatten.codes import code_floor
from motemap.flatten.corners import without_cut_corners
from motemap.flatten.division import Division
from motemap.flatten.grain import are_grains
from motemap.flatten.stripes import measure_stripes
from motemap.flatten.waves import remove_periodic
from motemap.masks import grown
from motemap.mesh import box_statistic, fill_gaps, scatter_of_rows, stride_for, surface_of_mesh
from motemap.planes import enlarge
from motemap.records import FlatFrame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.planes import Contrast, Surface
    from motemap.records import Plane
    from motemap.settings import FlattenSettings

__all__ = ["QuietBlocks", "are_grains", "flatten", "quiet_blocks"]

DARK_STEP_CELLS = 8
"""Dark corners are looked for at every so many-th cell, and kept away from by as much."""
BRIGHTEST_PERCENT = 99.0
"""Percentile of the background that counts as its brightest: a glare is not what corners fall off
from."""
NOISE_VALUES_IN_BOX = 500
"""So many cells of a box tell its noise to 5 %."""
NOISE_BOX_MIN_CELLS = 16
"""A smaller box has not cells enough for that."""
SMALLEST_NOISE = 1e-6
"""Drawn frames may have no noise at all, which nothing could be held against."""


def flatten(plane: Plane, *, blur_px: float, settings: FlattenSettings) -> FlatFrame:
    """Divide a picture by its background and learn its local noise.

    Parameters
    ----------
    plane : Plane
        Linear light.
    blur_px : float
        Diameter of the blur disc of dust on the filter stack, at most [stored px]; the
        background follows nothing narrower than a few times this.
    settings : FlattenSettings

    Returns
    -------
    FlatFrame
    """
    box_px = float(
        np.clip(settings.box_per_blur * blur_px, settings.box_min_px, settings.box_max_px)
    )
    box_cells = max(8, round(box_px / plane.bin_px))
    background = estimate_background(plane.light, plane.valid, box_cells, settings.median_boxes)
    sparse = background[::DARK_STEP_CELLS, ::DARK_STEP_CELLS]
    least = settings.dark_frac * float(np.percentile(sparse, BRIGHTEST_PERCENT))
    valid = _without_dark(plane.valid, sparse <= least)
    counted = None if valid.all() else valid
    division = Division(light=plane.light, background=background, least=least, valid=counted)
    uncut, n_cut = without_cut_corners(division, plane.valid, bin_px=plane.bin_px, blur_px=blur_px)
    if uncut is not None:
        valid = counted = uncut
        division = replace(division, valid=counted)
    valid.setflags(write=False)
    stripes = measure_stripes(division, counted)
    contrast = division.without(stripes)
    noise = noise_surface(contrast, counted, max(NOISE_BOX_MIN_CELLS, box_cells))
    floor, step = code_floor(plane, background, noise) or (None, None)
    return FlatFrame(
        contrast=remove_periodic(contrast, valid, noise),
        background=background,
        noise_frac=noise,
        valid=valid,
        bin_px=plane.bin_px,
        floor_frac=floor,
        step_frac=step,
        stripe_frac=stripes.spread_frac,
        n_cut_corners=n_cut,
    )


def _without_dark(valid: NDArray[np.bool_], is_dark: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Leave out dark corners and a margin, where the light falls too steeply to judge."""
    if not is_dark.any():
        return valid
    near = grown(is_dark, 1, by_corners=True)
    height, width = valid.shape
    return np.asarray(valid & ~enlarge(near, DARK_STEP_CELLS)[:height, :width], dtype=np.bool_)


def noise_surface(contrast: Contrast, valid: NDArray[np.bool_] | None, box_cells: int) -> Surface:
    """Estimate the local standard deviation of one cell, untouched by marks.

    1.4826 times the median absolute deviation from the box median, carried to every cell by
    straight lines: a spline would run away in the corners.

    Parameters
    ----------
    contrast : (H, W) Contrast
    valid : (H, W) bool or None
        Cells that count; None when all of them do.
    box_cells : int

    Returns
    -------
    (H, W) Surface
    """
    stride = stride_for(box_cells, NOISE_VALUES_IN_BOX)
    mesh = fill_gaps(
        box_statistic(contrast, box_cells, scatter_of_rows, stride=stride, valid=valid)
    )
    mesh = np.maximum(np.nan_to_num(mesh, nan=1.0), np.float32(SMALLEST_NOISE))
    return surface_of_mesh(mesh, contrast.shape, box_cells, degree=1)
