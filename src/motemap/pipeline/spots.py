"""Measured marks become spots: placed, sized, named, forecast."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from motemap.classify import ShadowScale, name_kind
from motemap.optics.widths import half_width_um
from motemap.particle import Particle, choose_stack, seen_by, size_particles
from motemap.pipeline.view import onlooker_for
from motemap.place import place

if TYPE_CHECKING:
    from motemap.classify import Kind
    from motemap.pipeline.marks import Marks
    from motemap.records import FlatFrame, Frame, Spot, Stack
    from motemap.settings import WorkSettings

LENS_SIDE = "far wider than dust on the filter stack throws: on the lens side"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """Spots in the order of the report, deepest first, with the particle behind each."""

    spots: tuple[Spot, ...]
    particles: tuple[Particle, ...]


def given_stack(work: WorkSettings, known: Stack | None) -> Stack | None:
    """Return the stack distance that is known before looking: given, else learned earlier."""
    if work.stack_mm is None:
        return known
    return choose_stack(measured=None, given_mm=work.stack_mm, history=None)


def stack_of(marks: Marks, work: WorkSettings, known: Stack | None) -> Stack:
    """Return the stack distance to reckon with: given, measured, learned earlier or assumed."""
    return choose_stack(measured=marks.stack, given_mm=work.stack_mm, history=known)


def report_spots(
    marks: Marks, frame: Frame, flat: FlatFrame, stack: Stack, work: WorkSettings
) -> Reported:
    """Turn marks into spots: placed, sized, named, forecast."""
    f_number, pitch_um = frame.metadata.exposure.f_number, frame.sensor.pitch_um
    scale = ShadowScale.from_optics(stack, f_number, pitch_um)
    found = (*marks.spots, *marks.far)
    particles = size_particles(
        flat,
        found,
        stack=stack,
        f_number=f_number,
        pitch_um=pitch_um,
        show_depth_frac=work.show_depth_frac,
    )
    onlooker = onlooker_for(frame.image, work)
    if onlooker is not None:
        particles = seen_by(onlooker, particles)
    # Taken from the whole shadow where that was fitted, a depth has less noise than its middle.
    depths_frac = [
        one.depth_frac if particle.depth_frac is None else particle.depth_frac
        for one, particle in zip(found, particles, strict=True)
    ]
    placed = place(found, frame.geometry, depths_frac)
    spots = []
    for spot, index in zip(placed.spots, placed.order, strict=True):
        particle = particles[index]
        solid_px = _solid_width_px(particle, f_number, stack)
        kind = name_kind(found[index], scale, depth_frac=spot.depth_frac, expected_px=solid_px)
        spots.append(_fill_in(spot, kind, particle, is_far=index >= len(marks.spots)))
    return Reported(spots=tuple(spots), particles=tuple(particles[index] for index in placed.order))


def _solid_width_px(particle: Particle, f_number: float | None, stack: Stack) -> float | None:
    """Return how wide the shadow of a solid speck of this size is in the test shot [px].

    None where it would rest on an assumption.
    """
    shadow = particle.shadow
    if shadow is None or not particle.particle_um or f_number is None or stack.source == "assumed":
        return None
    width_um = half_width_um(particle.particle_um, shadow.tau_um, f_number, shadow.pitch_um)
    return width_um / shadow.pitch_um


def _fill_in(spot: Spot, kind: Kind, particle: Particle, *, is_far: bool) -> Spot:
    reasons = (*kind.reasons, *particle.reasons)
    area_um2 = particle.lost_area_um2
    return replace(
        spot,
        particle_um=particle.particle_um,
        particle_um_range=particle.particle_um_range,
        length_um=spot.length_um if particle.length_um is None else particle.length_um,
        lost_area_um2=spot.lost_area_um2 if area_um2 is None else area_um2,
        kind="speck" if is_far else kind.kind,
        layer="lens side" if is_far else particle.layer,
        shows_from_f=particle.shows_from_f,
        depth_at=particle.depth_at,
        reasons=(LENS_SIDE, *reasons) if is_far else reasons,
    )
