"""Compact marks: specks, drops, flakes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.depths import CURVE_OPACITIES, depth_curve
from motemap.optics.waves import shadows
from motemap.optics.widths import half_widths_um
from motemap.particle.cut import HALVED_SPREAD, are_halved
from motemap.particle.fits import SIZE_OPACITIES
from motemap.particle.layer import SMALLEST_UM, judge_layers
from motemap.particle.record import TRUSTED_MISFIT, Drafts
from motemap.particle.shot_optics import (
    FAINTEST,
    WINDOW_OF_WIDTH,
    ShotOptics,
    diameters_um,
    disc_um2,
    own_curves,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.particle.record import LostLight
    from motemap.records import MeasuredSpots

SIZE_SPREAD = 0.04
"""Error of a diameter that the model itself brings: outlines, opacity, pupil; drawn frames."""
ROUGH_SPREAD = 0.1
"""The same without the frame's own light at hand: bright ring and window are guessed."""
FILM_WIDTHS = 1.3
"""Times wider than an opaque speck's shadow from which on a mark counts as a film."""
LEAST_TRIED = min(SIZE_OPACITIES)
"""The least opacity that fits try."""
LEAST_CLEAR_FACTOR = 0.01
"""How much fainter the shadow of a clear drop may be than that of its dark part; deeper by any factor."""
INSIDE_SHARE = 0.2
"""Distance of marks inside, as a share of the stack's; they hardly change with aperture."""
CLEAR_REASON = "it bends light more than it takes, so no size follows from its shadow"


def draft_specks(
    spots: MeasuredSpots, lights: Sequence[LostLight | None], optics: ShotOptics
) -> Drafts:
    """Draft compact marks: their sizes and layers, and what their forecasts are made from.

    Parameters
    ----------
    spots : MeasuredSpots
        The marks.
    lights : sequence of LostLight or None
        The light each takes; None falls back on the mark's first estimate.
    optics : ShotOptics
        The optics of the shot.
    """
    light = _Light.of(spots, lights, optics)
    judged = judge_layers(spots, diameters_um(light.area_um2), light.misfit, optics)
    is_on_lens, is_inside = judged.layer == "lens side", judged.layer == "inside"
    width_um = spots.width_px * optics.pitch_um
    # A uniform disc: its own width and depth say more than a sum laid out for the stack.
    area_um2 = np.where(is_on_lens, spots.depth_frac * disc_um2(width_um), light.area_um2)
    is_fitted = (light.misfit <= TRUSTED_MISFIT) & (judged.layer == "filter stack")
    is_film = _are_films(spots, area_um2, optics)
    # A film may let more light pass than any that was tried: its own depth and width say how much.
    is_fitted &= (light.area_um2 > 0) & ((light.opacity_frac > LEAST_TRIED) | ~is_film)
    # A shadow that no model fits is as deep as it was measured, whatever a speck of its light
    # would be: a drop moves light that it does not take. Its forecast is scaled to go through that.
    shadowing_um2 = np.where(is_fitted, area_um2, np.maximum(area_um2, disc_um2(SMALLEST_UM)))
    opacity = np.where(is_fitted, light.opacity_frac, 1.0)
    depth_frac = np.where(is_fitted, np.nan, spots.depth_frac)
    guessed = np.flatnonzero(~(is_on_lens | is_inside | is_fitted))
    if guessed.size:
        own, own_um2 = spots.some(guessed), area_um2[guessed]
        # Smoothing took nothing from a flat middle, so nothing is given back.
        flat_frac = np.minimum(own.depth_frac, own.seen_depth_frac)
        depth_frac[guessed] = np.where(is_film[guessed], flat_frac, own.depth_frac)
        film = np.maximum(own_um2 / disc_um2(own.width_px * optics.pitch_um), depth_frac[guessed])
        grain = _grain_opacities(own, own_um2, optics)
        opacity[guessed] = np.where(is_film[guessed], np.clip(film, FAINTEST, 1.0), grain)
    particle_um = diameters_um(area_um2)
    return Drafts(
        particle_um=particle_um,
        spread=np.hypot(light.spread, HALVED_SPREAD * are_halved(spots, particle_um, optics)),
        lost_area_um2=area_um2,
        layer=judged.layer,
        reason=judged.reason,
        depth_frac=depth_frac,
        is_strip=np.zeros(len(spots), np.bool_),
        shadow_um=diameters_um(shadowing_um2 / opacity),
        opacity_frac=opacity,
        tau_um=np.select(
            (is_on_lens, is_inside),
            (optics.f_number * width_um, INSIDE_SHARE * optics.tau_um),
            optics.tau_um,
        ),
        least_factor=np.where(is_fitted, 1.0, 0.0),
        most_factor=np.where(is_fitted, 1.0, np.inf),
    )


def draft_clear(
    spots: MeasuredSpots, lights: Sequence[LostLight | None], optics: ShotOptics
) -> Drafts:
    """Draft clear drops by their dark parts; no particle takes that light, so they have no size.

    Parameters
    ----------
    spots : MeasuredSpots
        Marks that are clear.
    lights : sequence of LostLight or None
        What light each takes all the same.
    optics : ShotOptics
        The optics of the shot.
    """
    n_marks = len(spots)
    return Drafts(
        particle_um=np.full(n_marks, np.nan),
        spread=np.full(n_marks, np.nan),
        lost_area_um2=_Light.of(spots, lights, optics).area_um2,
        layer=np.full(n_marks, "filter stack", np.object_),
        reason=np.full(n_marks, CLEAR_REASON, np.object_),
        depth_frac=np.full(n_marks, np.nan),
        # What is dark of a long clear mark is a rim, which fades like a strip.
        is_strip=spots.are_long(),
        shadow_um=spots.width_px * optics.pitch_um,
        opacity_frac=np.ones(n_marks),
        tau_um=np.full(n_marks, optics.tau_um),
        least_factor=np.full(n_marks, LEAST_CLEAR_FACTOR),
        most_factor=np.full(n_marks, np.inf),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Light:
    """The light that n marks take, (n,) each.

    Parameters
    ----------
    area_um2 : float64
        Light lost in all, as an area [um2].
    spread : float64
        Standard error of the logarithm of the diameter.
    opacity_frac, misfit : float64
        As in `LostLight`; NaN where the light was not measured.
    """

    area_um2: NDArray[np.float64]
    spread: NDArray[np.float64]
    opacity_frac: NDArray[np.float64]
    misfit: NDArray[np.float64]

    @classmethod
    def of(
        cls, spots: MeasuredSpots, lights: Sequence[LostLight | None], optics: ShotOptics
    ) -> _Light:
        """Lay out the light of each mark, or its first estimate where there is None."""
        is_known = np.array([one is not None for one in lights], np.bool_)
        known = [one for one in lights if one is not None]
        area_um2, spread, opacity_frac, misfit = np.full((4, len(spots)), np.nan)
        area_um2[is_known] = [one.area_um2 for one in known]
        spread[is_known] = np.hypot(SIZE_SPREAD, [one.error_frac / 2 for one in known])
        opacity_frac[is_known] = [one.opacity_frac for one in known]
        misfit[is_known] = [one.misfit for one in known]
        if not is_known.all():
            guessed = spots.some(np.flatnonzero(~is_known))
            area_um2[~is_known] = _unwindowed_um2(guessed, optics)
            spread[~is_known] = np.hypot(ROUGH_SPREAD, 1 / guessed.snr)
        return cls(area_um2=area_um2, spread=spread, opacity_frac=opacity_frac, misfit=misfit)


def _unwindowed_um2(spots: MeasuredSpots, optics: ShotOptics) -> NDArray[np.float64]:
    """Take what first sums hold too much, their window being too small for the bright ring."""
    measured_um2 = np.maximum(spots.lost_area_px2, 0.0) * optics.pitch_um**2
    seen = shadows(optics.tau_um, optics.f_number, optics.pitch_um)
    window_um = WINDOW_OF_WIDTH * spots.width_px * optics.pitch_um
    within_um2 = np.maximum.accumulate(seen.enclosed_um2(window_um), axis=1)
    is_within = (within_um2[:, 0] < measured_um2) & (measured_um2 < within_um2[:, -1])
    size_um = own_curves(measured_um2, within_um2, seen.size_um)
    return np.where(is_within, np.minimum(measured_um2, disc_um2(size_um)), measured_um2)


def _are_films(
    spots: MeasuredSpots, area_um2: NDArray[np.float64], optics: ShotOptics
) -> NDArray[np.bool_]:
    """Tell marks far wider than the shadow of a solid speck that takes as much light, (n,)."""
    solid_um = half_widths_um(
        diameters_um(area_um2), optics.tau_um, optics.f_number, optics.pitch_um
    )
    is_wide: NDArray[np.bool_] = spots.width_px * optics.pitch_um > FILM_WIDTHS * solid_um
    return is_wide


def _grain_opacities(
    spots: MeasuredSpots, area_um2: NDArray[np.float64], optics: ShotOptics
) -> NDArray[np.float64]:
    """Find the opacities of grains from width and depth where no fit of the shadow is to be had."""
    # With an assumed distance too deep a model tells of the distance, not of the speck.
    is_assumed = optics.stack.source == "assumed"
    return np.ones(len(spots)) if is_assumed else _fitting_opacities(spots, area_um2, optics)


def _fitting_opacities(
    spots: MeasuredSpots, area_um2: NDArray[np.float64], optics: ShotOptics
) -> NDArray[np.float64]:
    """Return the opacities with which specks of the light lost are as deep as measured."""
    curve = depth_curve(optics.tau_um, optics.f_number, optics.pitch_um)
    opacities = np.array(CURVE_OPACITIES)
    depths = curve.depth(diameters_um(area_um2[:, None] / opacities), opacities)
    return own_curves(spots.depth_frac, np.maximum.accumulate(depths, axis=1), opacities)
