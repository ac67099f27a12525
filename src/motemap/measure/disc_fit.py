"""Flat discs with soft rims, laid over one another until their sum explains a shadow.

Each takes the same share of light all over, but for its rim, across which the shadow of a round
grain fades (`motemap.optics.overlap.strip_share`). Where discs lie over one another, the light that is
left multiplies, so its logarithm adds up: that is what is fitted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.overlap import strip_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ROW, COL, RADIUS, RIM, DENSITY = range(5)
"""Numbers of one disc: its middle, the radius at half depth, half the width of its rim [cells],
and how dense it is (minus the natural logarithm of the light left)."""
N_NUMBERS = 5
"""How many these are."""
THINNEST_RIM = 0.5
"""Nothing thinner can be told [cells]; and none is thicker than the radius, lest no core be left."""
LEAST_DENSITY = 1e-5
"""A disc without any density would have no slope to come back by."""
LARGEST_GROWTH = 3.0
"""No radius grows or shrinks by more than this: beyond, a disc explains something else."""
N_ROUNDS, ENOUGH = 25, 1e-3
"""Rounds of a fit at most; the share of the misfit that a round must take off for another."""
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-3, 1e-9, 1e3
"""Share of its diagonal added to the normal matrix, after D. W. Marquardt (SIAM J. Appl. Math. 11,
1963, from memory); the fit ends where more than the last would be needed."""
EASIER, HARDER = 0.2, 5.0
"""Changes of the damping after a round that helped and one that did not."""
TINY = 1e-9
"""Keeps matrices regular, and a disc's very middle from being divided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DiscFit:
    """The discs that explain a shadow best.

    Parameters
    ----------
    discs : (n, 5) float64
        Row, column, radius, half the rim's width [cells] and density of each.
    misfit : float
        Sum of squares of what they leave unexplained.
    """

    discs: Floats
    misfit: float


def fit_discs(density: Floats, rows: Floats, cols: Floats, first: Floats) -> DiscFit:
    """Move, widen and deepen discs until their sum is nearest to the cells' density.

    Parameters
    ----------
    density : (k,) float64
        Minus the logarithm of the light left in each cell.
    rows, cols : (k,) float64
        Where the cells lie.
    first : (n, 5) float64
        Discs to begin with.
    """
    discs, damping = first, FIRST_DAMPING
    pictures, slopes = _shadows(discs, rows, cols)
    left = density - pictures
    misfit = float(left @ left)
    for _ in range(N_ROUNDS):
        pull, normal = slopes.T @ left, slopes.T @ slopes
        normal[np.diag_indices_from(normal)] += damping * np.diagonal(normal) + TINY
        tried = _kept_possible(discs + np.linalg.solve(normal, pull).reshape(discs.shape), first)
        pictures, next_slopes = _shadows(tried, rows, cols)
        next_left = density - pictures
        next_misfit = float(next_left @ next_left)
        if next_misfit >= misfit:
            damping *= HARDER
            if damping > MOST_DAMPING:
                break
            continue
        is_settled = next_misfit > (1 - ENOUGH) * misfit
        discs, left, slopes, misfit = tried, next_left, next_slopes, next_misfit
        if is_settled:
            break
        damping = max(damping * EASIER, LEAST_DAMPING)
    return DiscFit(discs=discs, misfit=misfit)


def _kept_possible(discs: Floats, first: Floats) -> Floats:
    """Keep discs from shrinking to nothing, and from growing out of all bounds."""
    radius = np.clip(
        discs[:, RADIUS], first[:, RADIUS] / LARGEST_GROWTH, first[:, RADIUS] * LARGEST_GROWTH
    )
    bounded = discs.copy()
    bounded[:, RADIUS] = radius
    bounded[:, RIM] = np.clip(discs[:, RIM], THINNEST_RIM, np.maximum(radius, THINNEST_RIM))
    bounded[:, DENSITY] = np.maximum(discs[:, DENSITY], LEAST_DENSITY)
    return bounded


def _shadows(discs: Floats, rows: Floats, cols: Floats) -> tuple[Floats, Floats]:
    """Return the density of discs together, (k,), and its slopes by their numbers, (k, 5 n)."""
    down, right = rows[:, None] - discs[:, ROW], cols[:, None] - discs[:, COL]
    away = np.maximum(np.hypot(down, right), TINY)
    rim, density = discs[:, RIM], discs[:, DENSITY]
    place = np.clip((discs[:, RADIUS] - away) / rim, -1, 1)
    share = strip_share(place)
    steep = density / rim * (2 / np.pi) * np.sqrt(1 - place**2)
    slopes = np.empty((len(rows), len(discs), N_NUMBERS))
    slopes[:, :, ROW] = steep * down / away
    slopes[:, :, COL] = steep * right / away
    slopes[:, :, RADIUS] = steep
    slopes[:, :, RIM] = -steep * place
    slopes[:, :, DENSITY] = share
    return share @ density, slopes.reshape(len(rows), -1)
