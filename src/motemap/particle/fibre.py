"""Fibres: their depth falls with N, not with N squared, so they keep a law of their own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.depths import CURVE_OPACITIES, depth_curve
from motemap.optics.waves import shadows
from motemap.optics.widths import half_widths_um
from motemap.particle.layer import SMALLEST_UM
from motemap.particle.record import Drafts
from motemap.particle.shot_optics import FAINTEST, WINDOW_OF_WIDTH, own_curves

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.shot_optics import ShotOptics
    from motemap.records import MeasuredSpots

FIBRE_SPREAD = 0.15
"""Error of a width: the window of the sum, the ends, the opacity; from drawn frames."""
FILM_WIDTHS = 1.5
"""Times wider than a thin fibre's shadow from which on a long mark counts as a film."""
LEAST_FACTOR = 0.3
"""How much fainter than that of a straight strip its shadow may be; a choice. Deeper it may be by
any factor: where a fibre crosses itself, or carries a speck, and where the rim of a drop is long and
narrow, pictures at the aperture of the shot show what the shot shows."""
REASON = "as wide as the shadow of a fibre on the filter stack"
FILM_REASON = "wider than the shadow of a fibre"


def draft_fibres(spots: MeasuredSpots, optics: ShotOptics) -> Drafts:
    """Draft fibres: their widths, opaque-equivalent, and what their forecasts are made from.

    Parameters
    ----------
    spots : MeasuredSpots
        Long marks.
    optics : ShotOptics
        The optics of the shot.
    """
    length_um = spots.length_px * optics.pitch_um
    width_um = _widths_um(spots, optics, length_um)
    seen_um = spots.width_px * optics.pitch_um
    thin_um = half_widths_um(width_um, optics.tau_um, optics.f_number, optics.pitch_um, "strip")
    is_film = seen_um > FILM_WIDTHS * thin_um
    film = np.clip(np.maximum(width_um / seen_um, spots.depth_frac), FAINTEST, 1.0)
    opacity = np.where(is_film, film, _opacities(spots, width_um, optics))
    n_marks = len(spots)
    # What shows is there, though no light lost tells how wide it is: its shadow is as deep as it was
    # measured, and its forecast is scaled to go through that.
    is_told = width_um > 0
    return Drafts(
        particle_um=width_um,
        spread=np.full(n_marks, FIBRE_SPREAD),
        lost_area_um2=width_um * length_um,
        layer=np.where(is_film, "unsure", "filter stack").astype(np.object_),
        reason=np.where(is_film, FILM_REASON, REASON).astype(np.object_),
        depth_frac=spots.depth_frac,
        is_strip=np.ones(n_marks, np.bool_),
        shadow_um=np.where(is_told, width_um / opacity, SMALLEST_UM),
        opacity_frac=opacity,
        tau_um=np.full(n_marks, optics.tau_um),
        least_factor=np.where(is_told, LEAST_FACTOR, 0.0),
        most_factor=np.full(n_marks, np.inf),
    )


def _widths_um(
    spots: MeasuredSpots, optics: ShotOptics, length_um: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the widths from the light lost per length.

    An opaque fibre throws part of the light so far that the sum misses it and reads too wide,
    one that lets light pass hardly does: the middle between both is taken.
    """
    seen = shadows(optics.tau_um, optics.f_number, optics.pitch_um, "strip")
    summed_um = np.maximum(spots.lost_area_px2, 0.0) * optics.pitch_um**2 / length_um
    window_um = WINDOW_OF_WIDTH * spots.width_px * optics.pitch_um
    within_um = np.maximum.accumulate(seen.enclosed_um2(window_um), axis=1)
    is_within = (within_um[:, 0] < summed_um) & (summed_um < within_um[:, -1])
    opaque_um = own_curves(summed_um, within_um, seen.size_um)
    middle_um = np.sqrt(summed_um * np.minimum(opaque_um, summed_um))
    return np.where(is_within, middle_um, summed_um)


def _opacities(
    spots: MeasuredSpots, width_um: NDArray[np.float64], optics: ShotOptics
) -> NDArray[np.float64]:
    """Return the opacities with which fibres that take this light are as deep as measured."""
    if optics.stack.source == "assumed":
        return np.ones(len(spots))
    curve = depth_curve(optics.tau_um, optics.f_number, optics.pitch_um, "strip")
    opacities = np.array(CURVE_OPACITIES)
    depths = curve.depth(width_um[:, None] / opacities, opacities)
    return own_curves(spots.depth_frac, np.maximum.accumulate(depths, axis=1), opacities)
