"""How far the dust lies from the photosites, read off the shadows of the frame itself."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.particle.fits import reach_of_fit_cell
from motemap.particle.grid import Voters
from motemap.particle.radial import radial_cells
from motemap.particle.sites import ROUND_ASPECT, Sites
from motemap.particle.vote import Opinions
from motemap.records import Stack

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.particle.vote import Consensus
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
WIDE_OF_NARROW = 1.5
"""So are marks that are wider, by so many times, than the narrowest `FEWEST_SPOTS`: films."""
FEWEST_SPOTS = 3
"""Two marks may agree by chance."""

FLOOR_ERROR = 0.025
"""Least error of the distance: the marked f-number and the pupil's shape are not exact."""
COOKED_RIM_PX = 0.3
"""By how much sharpening, noise reduction and coding make all blur discs look narrower or wider
[stored px]: strong sharpening by 0.4 to 0.5, most of them hardly (drawn frames)."""
COOKED_FILM_WEIGHT = 0.01
"""How much less likely a film is in such a picture than it looks: what was done to it bends the
profiles of all grains alike, and a film is the more supple model (drawn frames: up to e^3 a mark).
Films alone then leave the distance untold."""
LARGEST_ERROR = 0.5
"""A distance that may be off by more, in logarithm, says no more than the usual one; a choice."""


def fit_stack(
    flat: FlatFrame,
    spots: Sequence[MeasuredSpot],
    *,
    f_number: float,
    pitch_um: float,
    is_cooked: bool = False,
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
    is_cooked : bool
        Whether a program made the picture of the photosites' light.

    Returns
    -------
    Stack or None
        None when too few specks agree, or when they tell it less surely than it is known anyway.

    Notes
    -----
    Each speck's rings are fitted with the wave-optics shadow over a grid of distances; size,
    opacity and local level are free, so that an irregular or part-transparent grain does not
    pull the distance. The fits add up as likelihoods, each with a share for being no speck on
    the filter stack at all: dust elsewhere in the light path, drops and fibres disagree and
    lose their vote. A round film before its blur disc looks like a grain as small as that disc
    before one as wide as the film, but for diffraction and for how deep a grain can be. Both then
    are likely, and as films differ in width, only the true distance is the same for all.
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
    voters = Voters(cells=cells, f_number=f_number, cell_um=pitch_um * flat.bin_px)
    opinions = Opinions.of(voters.fits(), f_number, COOKED_FILM_WEIGHT if is_cooked else 1.0)
    rim_um = COOKED_RIM_PX * pitch_um if is_cooked else 0.0
    return _agree(opinions.consensus(), f_number, rim_um)


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
    widths_px = sorted(spot.width_px for spot in able)
    wide_px = WIDE_OF_NARROW * widths_px[FEWEST_SPOTS - 1] if len(able) >= FEWEST_SPOTS else 0.0
    able.sort(
        key=lambda spot: (
            spot.depth_frac > DEEPEST_SMALL_FRAC,
            spot.width_px > wide_px,
            -spot.snr,
        )
    )
    return tuple(able[:MOST_SPOTS])


def _agree(found: Consensus, f_number: float, rim_um: float) -> Stack | None:
    """Return what the specks agree on; None when too few agree, or on two distances at once.

    `rim_um` is how far all rims may have been moved by the making of the picture.
    """
    tau_um = math.exp(found.log_tau)
    error = math.hypot(found.error, FLOOR_ERROR, rim_um * f_number / tau_um)
    is_told = found.is_clear and found.n_agreeing >= FEWEST_SPOTS - 1
    if not is_told or error > LARGEST_ERROR:
        return None
    tau_mm = tau_um / UM_PER_MM
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
