"""Sizes and opacities of round specks whose shadows fit the rings around marks."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from motemap.optics.waves import Waves
from motemap.particle.match import COOKED_ERROR, MODEL_ERROR, TINY, Matcher
from motemap.particle.radial import radial_cells

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.cover import Cover
    from motemap.particle.match import Rival
    from motemap.particle.shade import Shades
    from motemap.particle.shot_optics import FrameOptics
    from motemap.particle.sites import Sites
    from motemap.records import FlatFrame

SIZE_OPACITIES = (1.0, 0.85, 0.7, 0.55, 0.4)
"""Shares of the light that a grain may stop; opaque first, as all others have to fit better by
`CLEAR_GAIN`."""
CLEAR_GAIN = 6.0
"""How much better, in squared sigmas, a part-transparent grain must fit to be believed."""
COOKED_GAIN = 36.0
"""The same in a picture that was sharpened, smoothed or coded: what that does to a shadow, all its
rings have in common. About six of them err as one, so as to look like six witnesses. Below that it
may be the grain or the picture, and what lies half way is taken."""
DEPTH_SLACK = (0.8, 1.25)
"""Bounds of the factor by which a shadow is deeper than the model ..."""
SLACK_SIGMA = 0.05
"""... and by how much it usually is, in logarithm: an odd shape, a tone curve."""
REACH_OF_WIDTH = 1.5
REACH_MARGIN_CELL = 3.0
"""A shadow is fitted out to so many widths and cells more: there its bright ring has ended, and the
level round it can be told."""


class SizeFits(NamedTuple):
    """The best of the sizes tried for each of n marks.

    Parameters
    ----------
    place, place_error : (n,) float64
        Where among the sizes the best one lies, and the standard error of that.
    factor : (n,) float64
        By how much the shadow is deeper than the model's.
    opacity_frac : (n,) float64
        Share of the light that is stopped.
    misfit : (n,) float64
        Mean squared residual in units of what is expected; infinite where too little is seen.
    row, col : (n,) float64
        The centres about which they were fitted [cells].
    """

    place: NDArray[np.float64]
    place_error: NDArray[np.float64]
    factor: NDArray[np.float64]
    opacity_frac: NDArray[np.float64]
    misfit: NDArray[np.float64]
    row: NDArray[np.float64]
    col: NDArray[np.float64]


def reach_of_fit_cell(sites: Sites) -> NDArray[np.float64]:
    """Return out to where the shadow of each mark is fitted [cells]."""
    return REACH_OF_WIDTH * sites.width + REACH_MARGIN_CELL


def fit_sizes(
    flat: FlatFrame, sites: Sites, cover: Cover, optics: FrameOptics, shades: Shades | None = None
) -> SizeFits:
    """Fit size, opacity and local level to the rings around each mark, others' shadows taken off."""
    cells = radial_cells(flat, sites, reach_of_fit_cell(sites), cover, shades)
    radius_um = optics.shadows.radius_um
    step_cell = float(radius_um[1] - radius_um[0]) / optics.cell_um
    n_points = min(int(cells.reach_cell.max() / step_cell) + 2, radius_um.size)
    model_error = COOKED_ERROR if optics.is_cooked else MODEL_ERROR
    matcher = Matcher.of(cells, n_points, step_cell, model_error)
    models = Waves(cross=optics.models.cross[:n_points], power=optics.models.power[:n_points])
    overlaps, unexplained = matcher.overlaps(models), matcher.unexplained
    fitted = [_misfits(overlaps.at(opacity), unexplained) for opacity in SIZE_OPACITIES]
    misfits, factors = (np.stack(each) for each in zip(*fitted, strict=True))
    which = _opacities(misfits.min(axis=2), is_cooked=optics.is_cooked)
    marks = np.arange(unexplained.size)
    misfit, factor = misfits[which, marks], factors[which, marks]
    best = np.clip(misfit.argmin(axis=1), 1, misfit.shape[1] - 2)
    before, least, after = (misfit[marks, best + step] for step in (-1, 0, 1))
    bend = np.maximum(before - 2 * least + after, TINY)
    mean_misfit = misfit.min(axis=1) / np.maximum(matcher.n_rings, 1)
    return SizeFits(
        # Clipped before it is divided: a misfit without a bend would be divided by nothing.
        place=best + np.clip((before - after) / 2, -bend, bend) / bend,
        place_error=np.sqrt(2 / bend),
        factor=factor[marks, best],
        opacity_frac=np.array(SIZE_OPACITIES)[which],
        misfit=np.where(cells.is_shown, mean_misfit, np.inf),
        row=cells.row,
        col=cells.col,
    )


def _opacities(least: NDArray[np.float64], *, is_cooked: bool) -> NDArray[np.intp]:
    """Return which of `SIZE_OPACITIES` n marks have, given how badly each fits at best, (k, n)."""
    which = np.zeros(least.shape[1], np.intp)
    best = least[0].copy()
    for other, its_least in enumerate(least[1:], 1):
        is_better = its_least < best - CLEAR_GAIN
        which[is_better], best[is_better] = other, its_least[is_better]
    if is_cooked:
        is_unsure = best > least[0] - COOKED_GAIN
        which[is_unsure] //= 2
    return which


def _misfits(
    rival: Rival, unexplained: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the misfit of n marks with m sizes, each shadow as deep as fits, and by what factor."""
    # A factor near 1 is free within its prior: the best one in closed form.
    prior = 1 / SLACK_SIGMA**2
    cross, power = rival.cross + prior, rival.power + prior
    factor = np.clip(cross / power, *DEPTH_SLACK)
    return (unexplained + prior)[:, None] + factor * (factor * power - 2 * cross), factor
