"""From measured marks to their particles: size, layer, forecast."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from motemap.particle.fibre import FIBRE_SPREAD, is_long, size_fibre
from motemap.particle.forecast import forecast_stops, shadow_depths
from motemap.particle.light import measure_light
from motemap.particle.record import Draft, Particle
from motemap.particle.speck import is_clear, size_specks
from motemap.particle.view import View, diameter_um, size_range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.particle.forecast import Shadow
    from motemap.particle.record import LostLight
    from motemap.records import FlatFrame, MeasuredSpot, Stack

SHOW_DEPTH_FRAC = 0.02
TINY = 1e-12
SENSOR_UNKNOWN = "without the sensor's size no size in um can be said"
APERTURE_UNKNOWN = "without the f-number no layer and no forecast can be said"


def size_particles(
    flat: FlatFrame,
    spots: Sequence[MeasuredSpot],
    *,
    stack: Stack,
    f_number: float | None,
    pitch_um: float | None,
    show_depth_frac: float = SHOW_DEPTH_FRAC,
) -> tuple[Particle, ...]:
    """Size, place in depth and forecast all marks of a frame from its own light.

    Parameters
    ----------
    flat : FlatFrame
        The flattened test shot.
    spots : sequence of MeasuredSpot
        All marks of the frame.
    stack : Stack
        Distance of the dust, from `choose_stack`.
    f_number : float or None
        Marked f-number of the shot.
    pitch_um : float or None
        Distance of stored pixels [um].
    show_depth_frac : float
        Depth from which on a mark shows (0-1).

    Returns
    -------
    tuple of Particle
        One a spot, in the same order.
    """
    lights: tuple[LostLight | None, ...] = (None,) * len(spots)
    if f_number is not None and pitch_um is not None:
        lights = measure_light(flat, spots, stack=stack, f_number=f_number, pitch_um=pitch_um)
    view = View.of(stack, f_number, pitch_um)
    drafts = _drafts(spots, lights, view, pitch_um)
    return _finish(drafts, spots, f_number, show_depth_frac)


def size_particle(
    spot: MeasuredSpot,
    *,
    stack: Stack,
    f_number: float | None,
    pitch_um: float | None,
    show_depth_frac: float = SHOW_DEPTH_FRAC,
    light: LostLight | None = None,
) -> Particle:
    """Size, place in depth and forecast one mark; coarser than `size_particles`.

    Parameters as there; `light` from `measure_light`, if at hand.
    """
    view = View.of(stack, f_number, pitch_um)
    drafts = _drafts([spot], [light], view, pitch_um)
    return _finish(drafts, [spot], f_number, show_depth_frac)[0]


def _drafts(
    spots: Sequence[MeasuredSpot],
    lights: Sequence[LostLight | None],
    view: View | None,
    pitch_um: float | None,
) -> list[Draft]:
    if pitch_um is None:
        return [Draft(particle=Particle(reasons=(SENSOR_UNKNOWN,)))] * len(spots)
    if view is None:
        return [Draft(particle=_size_alone(spot, pitch_um)) for spot in spots]
    is_fibre = [is_long(spot) and not is_clear(spot) for spot in spots]
    compact = [index for index, is_long_one in enumerate(is_fibre) if not is_long_one]
    specks = iter(
        size_specks([spots[index] for index in compact], [lights[index] for index in compact], view)
    )
    return [
        size_fibre(spot, view) if is_long_one else next(specks)
        for spot, is_long_one in zip(spots, is_fibre, strict=True)
    ]


def _size_alone(spot: MeasuredSpot, pitch_um: float) -> Particle:
    """Size a mark whose aperture or stack is unknown: from the light lost alone."""
    area_um2 = max(spot.lost_area_px2, 0.0) * pitch_um**2
    length_um = spot.length_px * pitch_um
    particle_um = area_um2 / length_um if is_long(spot) else diameter_um(area_um2)
    return Particle(
        particle_um=particle_um,
        particle_um_range=size_range(particle_um, FIBRE_SPREAD),
        length_um=length_um,
        lost_area_um2=area_um2,
        depth_frac=spot.depth_frac,
        reasons=(APERTURE_UNKNOWN,),
    )


def _finish(
    drafts: Sequence[Draft],
    spots: Sequence[MeasuredSpot],
    f_number: float | None,
    show_depth_frac: float,
) -> tuple[Particle, ...]:
    """Match the shadows to the depths measured, and fill in those at other apertures."""
    particles = [draft.particle for draft in drafts]
    known = [index for index, draft in enumerate(drafts) if draft.shadow is not None]
    shadows = [draft.shadow for draft in drafts if draft.shadow is not None]
    if f_number is None or not shadows:
        return tuple(particles)
    depths = shadow_depths(shadows, f_number).tolist()
    matched = [
        _matched(shadow, depth, spots[index].depth_frac, drafts[index].factors)
        for index, shadow, depth in zip(known, shadows, depths, strict=True)
    ]
    stops = forecast_stops(matched, show_depth_frac)
    for index, shadow, depth, at, shows_from_f in zip(
        known, matched, depths, stops.depth_at, stops.shows_from_f, strict=True
    ):
        particles[index] = _filled_in(particles[index], shadow, depth, at, shows_from_f)
    return tuple(particles)


def _filled_in(
    one: Particle,
    shadow: Shadow,
    depth_frac: float,
    depth_at: dict[str, float],
    shows_from_f: float | None,
) -> Particle:
    """Complete a particle with its depths."""
    own = min(depth_frac * shadow.factor, 1.0) if one.depth_frac is None else one.depth_frac
    # Spelt out: `replace` looks up every field of every mark anew.
    return Particle(
        particle_um=one.particle_um,
        particle_um_range=one.particle_um_range,
        length_um=one.length_um,
        lost_area_um2=one.lost_area_um2,
        depth_frac=own,
        layer=one.layer,
        shows_from_f=shows_from_f,
        depth_at=depth_at,
        shadow=shadow,
        reasons=one.reasons,
    )


def _matched(
    shadow: Shadow, depth_frac: float, seen_frac: float, factors: tuple[float, float] | None
) -> Shadow:
    """Scale a shadow so that it agrees with the depth in the test shot."""
    if factors is None:
        return shadow
    least, most = factors
    return replace(shadow, factor=min(max(seen_frac / max(depth_frac, TINY), least), most))
