"""From measured marks to their particles: size, layer, forecast."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.particle.cut import are_cut, draft_cut
from motemap.particle.fibre import FIBRE_SPREAD, draft_fibres
from motemap.particle.forecast import CastShadows, apertures_with, first_stops, reported_with
from motemap.particle.record import Drafts, Particles
from motemap.particle.shot_optics import ShotOptics, diameters_um, size_ranges
from motemap.particle.speck import draft_clear, draft_specks
from motemap.settings import WorkSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.particle.record import LostLight
    from motemap.records import MeasuredSpots, Stack

USUAL_WORK = WorkSettings()
TINY = 1e-12
"""Keeps depths that may be 0 from being divided by."""
SENSOR_UNKNOWN = "without the sensor's size no size in um can be said"
APERTURE_UNKNOWN = "without the f-number no layer and no forecast can be said"


def size_particles(
    spots: MeasuredSpots,
    lights: Sequence[LostLight | None],
    *,
    stack: Stack,
    f_number: float | None,
    pitch_um: float | None,
    work: WorkSettings = USUAL_WORK,
) -> Particles:
    """Size, place in depth and forecast all marks of a frame.

    Parameters
    ----------
    spots : MeasuredSpots
        The marks.
    lights : sequence of LostLight or None
        The light of each, from `measure_light`; without it a size is coarser.
    stack : Stack
        Distance of the dust, from `choose_stack`.
    f_number : float or None
        Marked f-number of the shot.
    pitch_um : float or None
        Distance of stored pixels [um].
    work : WorkSettings
        The photographer's aperture, and the depth from which on a mark shows.
    """
    if pitch_um is None:
        return _size_alone(spots, np.nan, SENSOR_UNKNOWN)
    optics = ShotOptics.of(stack, f_number, pitch_um)
    if optics is None or not len(spots):
        return _size_alone(spots, pitch_um, APERTURE_UNKNOWN)
    drafts = _drafts(spots, lights, optics)
    shadows, depth_frac = _matched(drafts, spots, optics)
    f_numbers = apertures_with([work.shoot_at_f])
    depths = shadows.depths_frac(f_numbers)
    reported_f = reported_with(work.shoot_at_f)
    lost_um2, particle_um = _told(drafts.lost_area_um2, drafts.particle_um)
    least_um, most_um = size_ranges(particle_um, drafts.spread)
    return Particles(
        particle_um=particle_um,
        least_um=least_um,
        most_um=most_um,
        length_um=shadows.length_um,
        lost_area_um2=lost_um2,
        depth_frac=depth_frac,
        layer=drafts.layer,
        reason=drafts.reason,
        shadows=shadows,
        depth_at=depths[[f_numbers.index(f_number) for f_number in reported_f]],
        shows_from_f=first_stops(depths >= work.show_depth_frac, f_numbers),
        reported_f=reported_f,
    )


def _size_alone(spots: MeasuredSpots, pitch_um: float, reason: str) -> Particles:
    """Size marks whose aperture or stack is unknown from the light lost; NaN without a pitch."""
    summed_um2 = spots.lost_area_px2 * pitch_um**2
    length_um = spots.length_px * pitch_um
    size_um = np.where(spots.are_long(), summed_um2 / length_um, diameters_um(summed_um2))
    area_um2, particle_um = _told(summed_um2, np.where(spots.are_clear(), np.nan, size_um))
    least_um, most_um = size_ranges(particle_um, np.full(len(spots), FIBRE_SPREAD))
    return Particles(
        particle_um=particle_um,
        least_um=least_um,
        most_um=most_um,
        length_um=length_um,
        lost_area_um2=area_um2,
        depth_frac=spots.depth_frac,
        layer=np.full(len(spots), "unsure", np.object_),
        reason=np.full(len(spots), reason, np.object_),
        shadows=None,
        depth_at=None,
        shows_from_f=np.full(len(spots), np.nan),
    )


def sized_as_discs(particles: Particles, is_disc: NDArray[np.bool_]) -> Particles:
    """Return particles with the sizes of some marks as diameters, whatever they were drafted as.

    Long marks are drafted as fibres, whose size is a width. A long drop, ring or film is no fibre:
    its size is that of the opaque disc that takes as much light. To be asked before `doubted`: the
    error of a scale is no smaller for a diameter than for a width.

    Parameters
    ----------
    particles : Particles
    is_disc : (n,) bool
        The marks meant; a diameter stays what it is.
    """
    disc_um = diameters_um(particles.lost_area_um2)
    # The light of a long mark goes with its width, that of a disc with its diameter squared.
    is_width = is_disc & ~np.isclose(disc_um, particles.particle_um, equal_nan=True)
    scale = np.where(is_width, disc_um / np.maximum(particles.particle_um, TINY), 1.0)
    spread = np.where(
        is_width, np.sqrt(particles.most_um / np.maximum(particles.particle_um, TINY)), 1.0
    )
    particle_um = particles.particle_um * scale
    return replace(
        particles,
        particle_um=particle_um,
        least_um=np.where(is_width, particle_um / spread, particles.least_um),
        most_um=np.where(is_width, particle_um * spread, particles.most_um),
    )


def _told(
    lost_um2: NDArray[np.float64], size_um: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the light lost and the sizes that follow; NaN where a sum found no light lost at all.

    Bright light round a mark, its own or its surroundings', can outweigh the dark: then it is not
    known how much the mark takes, which is not the same as none.
    """
    is_lost = lost_um2 > 0
    return np.where(is_lost, lost_um2, np.nan), np.where(is_lost, size_um, np.nan)


def _drafts(spots: MeasuredSpots, lights: Sequence[LostLight | None], optics: ShotOptics) -> Drafts:
    """Draft each mark as what it is, all of a kind together."""
    is_clear = spots.are_clear()
    is_cut = are_cut(spots, optics) & ~is_clear
    is_fibre = spots.are_long() & ~is_clear & ~is_cut
    specks, clear, fibres, cut = (
        np.flatnonzero(is_such)
        for is_such in (~is_clear & ~is_fibre & ~is_cut, is_clear, is_fibre, is_cut)
    )
    drafted = []
    if specks.size:
        own = [lights[index] for index in specks.tolist()]
        drafted.append((specks, draft_specks(spots.some(specks), own, optics)))
    if clear.size:
        own = [lights[index] for index in clear.tolist()]
        drafted.append((clear, draft_clear(spots.some(clear), own, optics)))
    if fibres.size:
        drafted.append((fibres, draft_fibres(spots.some(fibres), optics)))
    if cut.size:
        drafted.append((cut, draft_cut(spots.some(cut), optics)))
    return Drafts.joined(drafted)


def _matched(
    drafts: Drafts, spots: MeasuredSpots, optics: ShotOptics
) -> tuple[CastShadows, NDArray[np.float64]]:
    """Scale shadows so that they agree with the depths in the test shot; return these, too."""
    plain = CastShadows(
        is_strip=drafts.is_strip,
        size_um=drafts.shadow_um,
        length_um=spots.length_px * optics.pitch_um,
        opacity_frac=drafts.opacity_frac,
        factor=np.ones(len(spots)),
        tau_um=drafts.tau_um,
        pitch_um=optics.pitch_um,
    )
    (modelled,) = plain.depths_frac((optics.f_number,))
    is_modelled = np.isnan(drafts.depth_frac)
    wanted = np.where(is_modelled, spots.depth_frac, drafts.depth_frac)
    ratio = wanted / np.maximum(modelled, TINY)
    factor = np.clip(ratio, drafts.least_factor, drafts.most_factor)
    depth_frac = np.where(is_modelled, np.minimum(modelled * factor, 1.0), drafts.depth_frac)
    return replace(plain, factor=factor), depth_frac
