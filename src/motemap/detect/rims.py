"""Find the centres of shadows that lie over one another, from their rims.

All small specks of a frame cast shadows of one size. Where such flat discs overlap there is no
dip between them - the overlap is the darkest place - yet every rim stays to be seen, for light
is lost twice where two shadows lie. Each place on a rim points at its centre, one radius down
the slope; where the votes of a whole rim meet, there is a centre (the gradient form of the
circle Hough transform: C. Kimme, D. Ballard, J. Sklansky, Comm. ACM 18, 1975, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.filters import BORDER_MODE, smooth

if TYPE_CHECKING:
    from numpy.typing import NDArray

VOTE_SIGMA_OF_RADIUS = 0.22
"""How far votes for one centre scatter, over the radius."""
SLOPE_OF_STEEPEST = 0.15
RADII = (0.9, 1.0, 1.1)
CENTRE_SHARE = 0.45
"""Share of a lone mark's votes that make a centre. A strip as wide as a disc gathers a third
along its middle, a disc half as large again a half on a ring."""
N_SECTORS, FEWEST_SECTORS = 8, 6
SECTOR_SHARE = 0.35
"""Directions that votes for a centre must come from, each with so much of its fair share; a
strip has rims on two sides only."""
NEAREST_OF_WIDTH = 0.5
"""Centres nearer to one another than this share of a width are one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Votes:
    """Votes of all places on slopes.

    Parameters
    ----------
    gathered : (h, w) float32
        Votes, gathered over the scatter of those for one centre.
    by_sector : (8, h, w) float32
        The same by the direction that they come from.
    """

    gathered: NDArray[np.float32]
    by_sector: NDArray[np.float32]


def rim_votes(depth: NDArray[np.float32], inside: NDArray[np.bool_], radius_cell: float) -> Votes:
    """Let every place on a slope vote for the centre of its disc.

    Parameters
    ----------
    depth : (h, w) float32
        Smoothed depth with some room round the region, positive where darker.
    inside : (h, w) bool
        The region.
    radius_cell : float
        Radius of the discs at half depth [cells].
    """
    down, right = (np.asarray(part, dtype=np.float32) for part in np.gradient(depth))
    slope = np.hypot(down, right)
    near = ndimage.binary_dilation(inside, iterations=2)
    rows, cols = np.nonzero(near & (slope > SLOPE_OF_STEEPEST * float(slope[near].max())))
    to_down, to_right = down[rows, cols] / slope[rows, cols], right[rows, cols] / slope[rows, cols]
    turn = np.arctan2(to_down, to_right) / (2 * np.pi)
    sector = np.floor(turn * N_SECTORS).astype(int) % N_SECTORS
    # Every place has one vote whatever its slope, so that faint discs count like deep ones.
    votes = np.zeros((N_SECTORS, *depth.shape), np.float32)
    for radius in RADII:
        to_row = np.round(rows + radius * radius_cell * to_down).astype(int)
        to_col = np.round(cols + radius * radius_cell * to_right).astype(int)
        hit = (to_row >= 0) & (to_row < depth.shape[0]) & (to_col >= 0) & (to_col < depth.shape[1])
        np.add.at(votes, (sector[hit], to_row[hit], to_col[hit]), 1.0 / len(RADII))
    sigma = max(0.7, VOTE_SIGMA_OF_RADIUS * radius_cell)
    by_sector = np.stack([smooth(part, sigma) for part in votes])
    return Votes(gathered=by_sector.sum(axis=0), by_sector=by_sector)


def rim_centres(
    votes: Votes, inside: NDArray[np.bool_], radius_cell: float, whole: float
) -> list[tuple[int, int]]:
    """Find the centres of overlapping discs.

    Parameters
    ----------
    votes : Votes
    inside : (h, w) bool
        The region.
    radius_cell : float
        Radius of the discs at half depth [cells].
    whole : float
        Votes that a mark standing alone gathers in this frame.

    Returns
    -------
    list of (row, col)
        The best supported first.
    """
    gathered = votes.gathered
    reach = max(3, 2 * round(NEAREST_OF_WIDTH * radius_cell) + 1)
    top = (gathered == ndimage.maximum_filter(gathered, reach, mode=BORDER_MODE)) & inside
    top &= gathered > CENTRE_SHARE * whole
    fair = SECTOR_SHARE * whole / N_SECTORS
    top &= (votes.by_sector > fair).sum(axis=0) >= FEWEST_SECTORS
    peaks = np.argwhere(top)
    order = np.argsort(-gathered[top], kind="stable")
    return [(int(peaks[index, 0]), int(peaks[index, 1])) for index in order]
