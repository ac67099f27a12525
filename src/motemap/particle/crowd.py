"""Marks that lie over others like them, and their sizes, fitted together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.depths import depth_curve
from motemap.optics.table import amplitude_share
from motemap.particle.cover import Cover
from motemap.particle.fits import SizeFits, reach_of_fit_cell
from motemap.particle.shade import Shades
from motemap.particle.shot_optics import diameters_um
from motemap.particle.sites import ROUND_ASPECT, SiteBoxes

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from motemap.particle.shot_optics import FrameOptics
    from motemap.particle.sites import Sites
    from motemap.records import MeasuredSpot

TOUCH_OF_WIDTH = 0.75
"""Marks touch when they are nearer than so many of their widths: apart, it is enough to hide each
from the other."""
WIDEST_OF_BLUR = 1.3
"""Widest shadow, in blur discs, that is that of a speck whose shape in detail does not matter."""
N_TOGETHER = 4
"""How often marks are fitted anew: shadows half a width apart, as good as any that are told apart
at all, have less than half of their light in common."""
FIRST_FACTORS = (0.5, 1.5)
"""Bounds of how much deeper than the model a first guess may be: marks over one another were
measured with each other's light."""


def are_crowded(
    spots: Sequence[MeasuredSpot], sites: Sites, optics: FrameOptics, shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Tell which marks look like specks on the filter stack and touch others that do, (n,)."""
    length_px, width_px = np.array([(spot.length_px, spot.width_px) for spot in spots]).T
    is_able = length_px <= ROUND_ASPECT * width_px
    is_able &= sites.width * optics.cell_um <= WIDEST_OF_BLUR * optics.blur_um
    able = np.flatnonzero(is_able)
    is_crowded = np.zeros(len(spots), np.bool_)
    if not able.size:
        return is_crowded
    some = sites.only(able)
    reach_cell = TOUCH_OF_WIDTH * some.width
    cover = Cover.of(some, reach_cell, shape)
    for members in some.batches(reach_cell):
        marks = some.only(members)
        windows = SiteBoxes.around(marks, reach_cell[members], shape)
        down2, across2 = windows.away2(marks.row, marks.col)
        is_near = (
            down2 + across2 <= np.square(reach_cell[members]).astype(np.float32)[:, None, None]
        )
        touched = (is_near & cover.only(members).hides(windows.windows)).any(axis=(1, 2))
        is_crowded[able[members]] = touched
    return is_crowded


def fit_together(
    fit: Callable[[Shades], SizeFits],
    sites: Sites,
    spots: Sequence[MeasuredSpot],
    optics: FrameOptics,
    shape: tuple[int, ...],
) -> SizeFits:
    """Fit marks that lie over one another, each with the shadows of the others taken off.

    Parameters
    ----------
    fit : callable
        Fits them all, each freed of the shadows of the others.
    sites : Sites
        Where they lie.
    spots : sequence of MeasuredSpot
        What was measured of them, with which fitting begins.
    optics : FrameOptics
    shape : (int, int)
        Rows and columns of the plane.
    """
    fits = _first_guess(sites, spots, optics)
    reach_cell = reach_of_fit_cell(sites)
    for _ in range(N_TOGETHER):
        placed = sites.at(fits.row, fits.col)
        fits = fit(Shades.of(placed, reach_cell, _losses(fits, optics), optics, shape))
    return fits


def _first_guess(sites: Sites, spots: Sequence[MeasuredSpot], optics: FrameOptics) -> SizeFits:
    """Return specks that take as much light as was measured, and are as deep."""
    lost_um2 = np.array([spot.lost_area_px2 for spot in spots]) * optics.pitch_um**2
    depth_frac = np.array([spot.depth_frac for spot in spots])
    sizes_um = optics.shadows.size_um[: optics.models.cross.shape[1]]
    size_um = np.clip(diameters_um(lost_um2), sizes_um[0], sizes_um[-1])
    curve = depth_curve(optics.tau_um, optics.f_number, optics.pitch_um)
    n_marks = len(spots)
    return SizeFits(
        place=np.interp(np.log(size_um), np.log(sizes_um), np.arange(sizes_um.size)),
        place_error=np.full(n_marks, np.inf),
        factor=np.clip(depth_frac / curve.depth(size_um), *FIRST_FACTORS),
        opacity_frac=np.ones(n_marks),
        misfit=np.full(n_marks, np.inf),
        row=sites.row,
        col=sites.col,
    )


def _losses(fits: SizeFits, optics: FrameOptics) -> NDArray[np.float64]:
    """Return the share of light that each speck takes at the radii of the optics, (n, m)."""
    waves = optics.models
    lower = np.clip(fits.place.astype(np.intp), 0, waves.cross.shape[1] - 2)
    upper = (fits.place - lower)[:, None]
    share = np.array([amplitude_share(opacity) for opacity in fits.opacity_frac.tolist()])[:, None]
    cross, power = (
        part.T[lower] * (1 - upper) + part.T[lower + 1] * upper
        for part in (waves.cross, waves.power)
    )
    losses: NDArray[np.float64] = fits.factor[:, None] * (share * cross - share**2 * power)
    return losses
