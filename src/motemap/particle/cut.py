"""Marks that the edge of the picture cuts off: what can be said of them, and what cannot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.depths import depth_curve
from motemap.optics.table import wave_length_um
from motemap.optics.widths import half_widths_um
from motemap.particle.layer import SMALLEST_UM
from motemap.particle.record import Drafts
from motemap.particle.shot_optics import LARGEST_SIZE, ShotOptics

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import MeasuredSpots, Stack

NARROW_OF_WHOLE = 0.85
"""Width of a mark at the border, over that of the narrowest whole shadow, below which part of it is
missing; the end of a fibre that leads out of the picture is as wide as the fibre."""
OUTSIDE = 0.5
"""Width over length of half a disc: with less, the middle lies outside of the picture."""
HALVED = 0.65
HALVED_SPREAD = 0.1
"""Up to this width over length the fit has little more than half of a mark, and the size an error of
this more in logarithm: drawn frames, 7 to 13 % too small."""
REASON = (
    "the edge of the picture hides its middle; it is at least as large as a speck of {:.3g} um and "
    "may show at wider apertures"
)


def find_cut(
    spots: MeasuredSpots, *, stack: Stack, f_number: float | None, pitch_um: float | None
) -> NDArray[np.bool_]:
    """Tell of which marks the edge of the picture hides the middle, (n,).

    Parameters
    ----------
    spots : MeasuredSpots
        All marks of the frame.
    stack : Stack
        Distance of the dust.
    f_number : float or None
        Marked f-number of the shot; nothing is known of the width of shadows without it.
    pitch_um : float or None
        Distance of stored pixels [um]; the same.
    """
    optics = ShotOptics.of(stack, f_number, pitch_um)
    return np.zeros(len(spots), np.bool_) if optics is None else are_cut(spots, optics)


def are_cut(spots: MeasuredSpots, optics: ShotOptics) -> NDArray[np.bool_]:
    """Tell of which marks the edge of the picture hides the middle, (n,)."""
    near_um = optics.tau_um - UM_PER_MM * (optics.stack.uncertainty_mm or 0.0)
    return _lack_part(spots, SMALLEST_UM, max(near_um, optics.tau_um / 4), optics, OUTSIDE)


def are_halved(
    spots: MeasuredSpots, particle_um: NDArray[np.float64], optics: ShotOptics
) -> NDArray[np.bool_]:
    """Tell of which specks, that are at least so large, little more than half is seen, (n,)."""
    return _lack_part(spots, np.maximum(particle_um, SMALLEST_UM), optics.tau_um, optics, HALVED)


def _lack_part(
    spots: MeasuredSpots,
    particle_um: NDArray[np.float64] | float,
    tau_um: float,
    optics: ShotOptics,
    most_of_length: float,
) -> NDArray[np.bool_]:
    """Tell which marks at the border are narrower than long, and than such a speck's shadow, (n,)."""
    if not spots.is_at_border.any():
        return spots.is_at_border
    whole_um = half_widths_um(particle_um, tau_um, optics.f_number, optics.pitch_um)
    is_narrow = spots.width_px * optics.pitch_um < NARROW_OF_WHOLE * whole_um
    is_flat = spots.width_px < most_of_length * spots.length_px
    lack: NDArray[np.bool_] = spots.is_at_border & is_narrow & is_flat
    return lack


def draft_cut(spots: MeasuredSpots, optics: ShotOptics) -> Drafts:
    """Draft marks whose middle is hidden: no size follows, but a least one, and what that shows.

    What is seen is no deeper than the middle, so a speck that is as deep in its own middle is no
    larger than the true one. Nothing is given back of what smoothing takes: the middle of a mark is
    not where it is asked for.

    Parameters
    ----------
    spots : MeasuredSpots
        Marks that are cut.
    optics : ShotOptics
        The optics of the shot.
    """
    n_marks = len(spots)
    curve = depth_curve(optics.tau_um, optics.f_number, optics.pitch_um)
    largest_um = LARGEST_SIZE * wave_length_um(optics.tau_um)
    least_um = np.minimum(curve.size_for(spots.seen_depth_frac), largest_um)
    return Drafts(
        particle_um=np.full(n_marks, np.nan),
        spread=np.full(n_marks, np.nan),
        lost_area_um2=np.full(n_marks, np.nan),
        layer=np.full(n_marks, "unsure", np.object_),
        reason=np.array([REASON.format(um) for um in least_um.tolist()], np.object_),
        depth_frac=spots.seen_depth_frac,
        is_strip=np.zeros(n_marks, np.bool_),
        shadow_um=least_um,
        opacity_frac=np.ones(n_marks),
        tau_um=np.full(n_marks, optics.tau_um),
        least_factor=np.ones(n_marks),
        most_factor=np.ones(n_marks),
    )
