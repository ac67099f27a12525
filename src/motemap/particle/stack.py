"""How far the dust lies from the photosites, read off the shadows of the frame itself."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.stacks import STACK_RANGE_UM
from motemap.optics.widths import half_widths_um
from motemap.particle.fits import reach_of_fit_cell
from motemap.particle.grid import Voters
from motemap.particle.layer import SMALLEST_SHARP_PX
from motemap.particle.radial import radial_cells
from motemap.particle.sites import ROUND_ASPECT, Sites
from motemap.particle.vote import Opinions
from motemap.records import Stack

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.optics.waves import Shape
    from motemap.particle.vote import Consensus
    from motemap.records import FlatFrame, MeasuredSpot, MeasuredSpots

DEFAULT_STACK_MM = 1.3
DEFAULT_SPREAD = 0.4
"""Default distance and its share either way: a 2 mm stack of index 1.52, from memory."""
GIVEN_SPREAD = 0.1
"""Share either way to which a distance that the user states is taken to be right; a choice."""

SIZES_OF_BLUR = np.linspace(0.02, 1.0, 25)
"""Particles, in blur discs, whose shadows are about as wide as that; larger ones only add to it."""

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
N_NEARER = 8
"""Distances tried, from the nearest known to the default, for one that throws shadows as narrow
as are seen; between them it is interpolated."""
N_WITNESSES = 2
"""So many shadows have to be too narrow for a distance: one may be that of dirt beneath the glass."""
READ_NARROW = 0.1
"""Share by which a width may be read too narrow: so is the narrowest but one of nine irregular
specks, mostly. The bound is then a seventh short at worst (drawn frames, f/8 to f/32, 0.36 to 1.3 mm)."""
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


def farthest_mm(spots: MeasuredSpots, f_number: float, pitch_um: float) -> float:
    """Return how far the dust can lie at most, to throw shadows as narrow as these [mm].

    The default distance where they may come from there, or where there are too few.

    Notes
    -----
    However small a particle, its shadow is about as wide as the blur disc, so that each is a bound of
    its own; the nearest but one holds. What is narrower than any distance allows lies beneath the glass
    or is no shadow, and is not asked; clear drops are narrower for being lenses. A grain beneath the
    glass that is as wide as a shadow from a thin stack cannot be told from one: two of them bring
    the bound too near. Diffraction makes all shadows of small grains at narrow apertures about as
    wide (f/22: 19 to 21 um from 0.3 to 1 mm), and the bound is then far beyond where the dust lies.
    """
    is_able = (spots.snr >= SMALLEST_SNR) & (spots.width_px >= SMALLEST_SHARP_PX)
    is_able &= ~spots.is_at_border & ~spots.are_rings() & ~spots.are_clear()
    is_strip = spots.are_long()
    even_px = np.sqrt(spots.width_px * spots.length_px)
    widths_um = np.where(is_strip, spots.width_px, even_px) * pitch_um / (1 - READ_NARROW)
    strips_um, specks_um = widths_um[is_able & is_strip], widths_um[is_able & ~is_strip]
    bounds_mm = np.concatenate(
        (
            _bounds_mm(specks_um, f_number, pitch_um, "speck"),
            _bounds_mm(strips_um, f_number, pitch_um, "strip"),
        )
    )
    if bounds_mm.size < N_WITNESSES:
        return DEFAULT_STACK_MM
    return float(np.sort(bounds_mm)[N_WITNESSES - 1])


def _bounds_mm(
    widths_um: NDArray[np.float64], f_number: float, pitch_um: float, shape: Shape
) -> NDArray[np.float64]:
    """Return the farthest distances that throw shadows so narrow, of those too narrow for the default.

    The narrowest width does not always grow with the distance, so what counts at each is the
    narrowest from there or from farther off.
    """
    if not widths_um.size:
        return widths_um
    usual_um = _narrowest_um(DEFAULT_STACK_MM * UM_PER_MM, f_number, pitch_um, shape)
    narrow_um = widths_um[widths_um < usual_um]
    if not narrow_um.size:
        return narrow_um
    taus_mm = np.geomspace(STACK_RANGE_UM[0] / UM_PER_MM, DEFAULT_STACK_MM, N_NEARER)
    taus_um = (taus_mm[:-1] * UM_PER_MM).tolist()
    narrowest_um = [_narrowest_um(tau_um, f_number, pitch_um, shape) for tau_um in taus_um]
    least_um = np.minimum.accumulate([usual_um, *reversed(narrowest_um)])[::-1]
    possible_um = narrow_um[narrow_um >= least_um[0]]
    return np.asarray(np.interp(possible_um, least_um, taus_mm), np.float64)


def _narrowest_um(tau_um: float, f_number: float, pitch_um: float, shape: Shape) -> float:
    """Return the width of the narrowest shadow that a particle can throw from a distance [um]."""
    sizes_um = tau_um / f_number * SIZES_OF_BLUR
    return float(half_widths_um(sizes_um, tau_um, f_number, pitch_um, shape).min())


def choose_stack(
    measured: Stack | None,
    given_mm: float | None,
    history: Stack | None,
    most_mm: float = DEFAULT_STACK_MM,
) -> Stack:
    """Return the distance to reckon with: given, else measured, else known, else assumed.

    Parameters
    ----------
    measured : Stack or None
        From `fit_stack`.
    given_mm : float or None
        What the user states [mm].
    history : Stack or None
        What earlier frames of the same body gave.
    most_mm : float
        How far the dust can lie at most, from `farthest_mm`: no farther is assumed.
    """
    if given_mm is not None:
        return Stack(distance_mm=given_mm, uncertainty_mm=GIVEN_SPREAD * given_mm, source="given")
    if measured is not None:
        return measured
    if history is not None and history.distance_mm is not None:
        return history
    distance_mm = min(DEFAULT_STACK_MM, most_mm)
    return Stack(
        distance_mm=distance_mm, uncertainty_mm=DEFAULT_SPREAD * distance_mm, source="assumed"
    )
