"""Divide out everything smooth: what is left is dust, noise and fine screen structure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.flatten.background import estimate_background
from motemap.flatten.codes import code_floor
from motemap.flatten.stripes import remove_stripes
from motemap.flatten.waves import remove_periodic
from motemap.mesh import box_statistic, fill_gaps, scatter_of_rows, spline_matrix
from motemap.records import FlatFrame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Plane
    from motemap.settings import FlattenSettings

__all__ = ["flatten"]

DARK_MARGIN_CELLS = 8


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
    top = float(np.percentile(background[::8, ::8], 99))
    lit = background > settings.dark_frac * top
    safe = np.maximum(background, np.float32(settings.dark_frac * top), dtype=np.float32)
    contrast = np.divide(plane.light, safe, dtype=np.float32)
    contrast -= np.float32(1.0)
    valid = plane.valid & _away_from_dark(lit)
    contrast[~valid] = 0
    contrast, stripe_frac = remove_stripes(contrast, valid)
    noise = noise_map(contrast, valid, max(16, box_cells))
    contrast = remove_periodic(contrast, valid, noise)
    floor, step = code_floor(plane, background, noise) or (None, None)
    for array in (contrast, background, noise, valid):
        array.setflags(write=False)
    return FlatFrame(
        contrast=contrast,
        background=background,
        noise_frac=noise,
        valid=valid,
        bin_px=plane.bin_px,
        floor_frac=floor,
        step_frac=step,
        stripe_frac=stripe_frac,
    )


def _away_from_dark(lit: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Leave out a margin round dark corners, where the light falls too steeply to judge."""
    if lit.all():
        return lit
    return np.asarray(~ndimage.maximum_filter(~lit, 2 * DARK_MARGIN_CELLS + 1), dtype=np.bool_)


def noise_map(
    contrast: NDArray[np.float32], valid: NDArray[np.bool_], box_cells: int
) -> NDArray[np.float32]:
    """Estimate the local standard deviation of one cell, untouched by marks.

    1.4826 times the median absolute deviation from the box median, carried to every cell by
    straight lines: a spline would run away in the corners.

    Parameters
    ----------
    contrast : (H, W) float32
    valid : (H, W) bool
    box_cells : int

    Returns
    -------
    (H, W) float32
    """
    counted = contrast if valid.all() else np.where(valid, contrast, np.float32(np.nan))
    mesh = fill_gaps(box_statistic(counted, box_cells, scatter_of_rows, stride=2))
    mesh = np.nan_to_num(mesh, nan=1.0)
    tiny = np.float32(1e-6)
    rows, cols = (spline_matrix(n_cells, box_cells, 1) for n_cells in contrast.shape)
    return np.asarray(np.exp(rows @ np.log(np.maximum(mesh, tiny)) @ cols.T), dtype=np.float32)
