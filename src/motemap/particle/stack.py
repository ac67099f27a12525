"""How far the dust lies from the photosites, read off the shadows of the frame itself."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.filters import smooth
from motemap.particle.fits import reach_of_fit_cell
from motemap.particle.grid import N_TAU, Voters, tau_step, tau_um
from motemap.particle.radial import radial_cells
from motemap.particle.sites import ROUND_ASPECT, Sites
from motemap.records import Stack

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpot

DEFAULT_STACK_MM = 1.3
DEFAULT_SPREAD = 0.4
"""Default distance and its share either way: a 2 mm stack of index 1.52, from memory."""
GIVEN_SPREAD = 0.1
"""Share either way to which a distance that the user states is taken to be right; a choice."""

SMALLEST_SNR = 25.0
"""Fainter marks tell nothing of a distance: the shape of their shadow is lost in noise; a
choice."""
MOST_SPOTS = 25
"""Marks asked at most: the error of so many in common is far below `FLOOR_ERROR`."""
DEEPEST_SMALL_FRAC = 0.7
"""Deeper marks are about as wide as their blur disc: their rims tell of themselves, so they are
asked last."""
FEWEST_SPOTS = 3
"""Two marks may agree by chance."""

WIDE_STEP = 6
"""Rows of the grid of distances from one to the next in the rough search: about 30 % in
distance."""
WINDOW_ROWS = 8
"""Rows each way in which the fine search looks: more than a step of the rough one."""
FINE = 4
"""Steps into which a row is divided when likelihoods are added up."""
TRUNCATE_SIGMA = 4.0
"""A mark's error of the distance is reckoned with up to so many standard deviations."""
N_WINDOWS = 3
"""Windows tried, each about the best row of the last, until the best does not lie at an end."""
N_POINTS, ROUGH_POINTS = 96, 48
"""Radii at which models are given, in the last fits and in the first rough ones."""
MOST_MISFIT = 30.0
"""A mark that fits a distance this badly says no more against it: it may be no speck."""
SHAPE_ERROR = 0.03
"""Error of the distance from one speck far smaller than its blur disc."""
SIZE_ERROR = 0.08
"""The same from a speck as wide as its blur disc; grows with the square of the width."""
OUTLIER_SHARE = 0.2
"""Share of the marks asked that may be no specks on the stack; a choice, not measured."""
FLOOR_ERROR = 0.025
"""Least error of the distance: the marked f-number and the pupil's shape are not exact."""


def fit_stack(
    flat: FlatFrame, spots: Sequence[MeasuredSpot], *, f_number: float, pitch_um: float
) -> Stack | None:
    """Measure the distance of the dust from the frame's own isolated specks.

    Parameters
    ----------
    flat : FlatFrame
        The flattened test shot.
    spots : sequence of MeasuredSpot
        All marks of the frame.
    f_number : float
        Marked f-number of the shot.
    pitch_um : float
        Distance of stored pixels [um].

    Returns
    -------
    Stack or None
        None when too few specks agree.

    Notes
    -----
    Each speck's rings are fitted with the wave-optics shadow over a grid of distances; size,
    opacity and local level are free, so that an irregular or part-transparent grain does not
    pull the distance. The fits add up as likelihoods, each with a share for being no speck on
    the filter stack at all: dust elsewhere in the light path, drops and fibres disagree and
    lose their vote.
    """
    chosen = choose_spots(spots)
    sites = Sites.of(chosen, flat.bin_px)
    cells = radial_cells(flat, sites, reach_of_fit_cell(sites))
    told = np.flatnonzero(cells.n_cells)
    if told.size < len(chosen):
        sites = sites.only(told)
        cells = radial_cells(flat, sites, reach_of_fit_cell(sites))
    if told.size < FEWEST_SPOTS:
        return None
    return _agree(Voters(cells=cells, f_number=f_number, cell_um=pitch_um * flat.bin_px))


def choose_spots(spots: Sequence[MeasuredSpot]) -> tuple[MeasuredSpot, ...]:
    """Return the marks that can tell the distance, the best first."""
    able = [
        spot
        for spot in spots
        if spot.snr >= SMALLEST_SNR
        and not spot.is_at_border
        and not spot.has_neighbour
        and spot.length_px <= ROUND_ASPECT * spot.width_px
    ]
    able.sort(key=lambda spot: (spot.depth_frac > DEEPEST_SMALL_FRAC, -spot.snr))
    return tuple(able[:MOST_SPOTS])


def _agree(voters: Voters) -> Stack | None:
    """Let the specks vote on the distance; None when too few agree."""
    middle = _rough_row(voters)
    for _ in range(N_WINDOWS):
        first = min(max(middle - WINDOW_ROWS, 0), N_TAU - 1 - 2 * WINDOW_ROWS)
        rows = range(first, first + 2 * WINDOW_ROWS + 1)
        likelihoods = _likelihoods(voters, rows)
        mixed = (1 - OUTLIER_SHARE) * likelihoods + OUTLIER_SHARE / likelihoods.shape[1]
        votes = np.log(mixed).sum(axis=0)
        best = int(votes.argmax())
        if 0 < best < votes.size - 1:
            n_agreeing = float(((1 - OUTLIER_SHARE) * likelihoods[:, best] / mixed[:, best]).sum())
            return None if n_agreeing < FEWEST_SPOTS - 1 else _stack(votes, best, first)
        middle = rows[best // FINE]
    return None


def _rough_row(voters: Voters) -> int:
    """Return the row, in wide steps, that most marks find least wrong."""
    rows = range(0, N_TAU, WIDE_STEP)
    misfit = voters.fits(rows, ROUGH_POINTS).misfit
    worse = misfit - misfit.min(axis=0)
    return rows[int(np.minimum(worse, MOST_MISFIT).sum(axis=1).argmin())]


def _likelihoods(voters: Voters, rows: range) -> NDArray[np.float64]:
    """Return how likely each distance is after each mark; rows add up to 1, or less at the ends."""
    fits = voters.fits(rows, N_POINTS)
    strays = np.maximum(fits.misfit.min(axis=0) / fits.n_rings, 1.0)
    fine = fits.misfit.T @ _spline_weights(len(rows)).T
    # A misfit above what is expected widens the likelihood.
    sharp = np.exp(-(fine - fine.min(axis=1, keepdims=True)) / 2 / strays[:, None])
    sharp /= sharp.sum(axis=1, keepdims=True)
    best = fits.misfit.argmin(axis=0)
    blur_um = np.array([tau_um(row) for row in rows])[best] / voters.f_number
    widths = _errors(fits.particle_um[best, np.arange(strays.size)], blur_um) / tau_step() * FINE
    pairs = zip(sharp, widths.tolist(), strict=True)
    return np.array([smooth(one, width, TRUNCATE_SIGMA) for one, width in pairs])


@lru_cache(maxsize=4)
def _spline_weights(n_rows: int) -> NDArray[np.float64]:
    """Return the matrix that carries values of rows to `FINE` places from each row to the next.

    By the cubic spline through all values, mirrored at the outermost rows.

    Returns
    -------
    ((n_rows - 1) * FINE + 1, n_rows) float64
    """
    places = np.arange((n_rows - 1) * FINE + 1) / FINE
    weights = np.zeros((places.size, n_rows))
    for node in range(-1, n_rows + 1):
        away = np.abs(places - node)
        near, far = np.maximum(1 - away, 0), np.maximum(2 - away, 0)
        # A mirrored node's own weight goes to the one that it mirrors.
        weights[:, n_rows - 1 - abs(n_rows - 1 - abs(node))] += far**3 / 6 - near**3 * (2 / 3)
    return np.asarray(weights @ np.linalg.inv(weights[::FINE]), dtype=np.float64)


def _errors(particle_um: NDArray[np.float64], blur_um: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return by how much single specks' distances may be wrong, in logarithm."""
    return np.hypot(SHAPE_ERROR, SIZE_ERROR * (particle_um / blur_um) ** 2)


def _stack(votes: NDArray[np.float64], best: int, first_row: int) -> Stack:
    before, most, after = votes[best - 1 : best + 2]
    bend = max(2 * most - before - after, np.finfo(np.float64).tiny)
    place = first_row + (best + float(after - before) / bend / 2) / FINE
    error = math.hypot(tau_step() / FINE / math.sqrt(bend), FLOOR_ERROR)
    tau_mm = tau_um(place) / UM_PER_MM
    return Stack(distance_mm=tau_mm, uncertainty_mm=error * tau_mm, source="measured")


def choose_stack(measured: Stack | None, given_mm: float | None, history: Stack | None) -> Stack:
    """Return the distance to reckon with: given, else measured, else known, else assumed.

    Parameters
    ----------
    measured : Stack or None
        From `fit_stack`.
    given_mm : float or None
        What the user states [mm].
    history : Stack or None
        What earlier frames of the same body gave.
    """
    if given_mm is not None:
        return Stack(distance_mm=given_mm, uncertainty_mm=GIVEN_SPREAD * given_mm, source="given")
    if measured is not None:
        return measured
    if history is not None and history.distance_mm is not None:
        return history
    return Stack(
        distance_mm=DEFAULT_STACK_MM,
        uncertainty_mm=DEFAULT_SPREAD * DEFAULT_STACK_MM,
        source="assumed",
    )
