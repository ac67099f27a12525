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
    from motemap.pipeline.marks import Marks
    from motemap.records import FlatFrame, Frame, MeasuredSpot, Spot, Stack
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
    far = {id(spot) for spot in marks.far}
    sized = sorted(
        (
            (_with_depth(one, particle), particle, id(one) in far)
            for one, particle in zip(found, particles, strict=True)
        ),
        key=lambda row: (-row[0].depth_frac, row[0].centre.row_px, row[0].centre.col_px),
    )
    placed = place((one for one, _, _ in sized), frame.geometry)
    spots = []
    for spot, (one, particle, is_far) in zip(placed, sized, strict=True):
        solid_px = _solid_width_px(particle, f_number, stack)
        spots.append(_fill_in(spot, one, particle, scale, solid_px, is_far=is_far))
    return Reported(spots=tuple(spots), particles=tuple(particle for _, particle, _ in sized))


def _solid_width_px(particle: Particle, f_number: float | None, stack: Stack) -> float | None:
    """Return how wide the shadow of a solid speck of this size is in the test shot [px].

    None where it would rest on an assumption.
    """
    shadow = particle.shadow
    if shadow is None or not particle.particle_um or f_number is None or stack.source == "assumed":
        return None
    width_um = half_width_um(particle.particle_um, shadow.tau_um, f_number, shadow.pitch_um)
    return width_um / shadow.pitch_um


def _with_depth(one: MeasuredSpot, particle: Particle) -> MeasuredSpot:
    """Take the depth from the whole shadow where that was fitted: less noise than its middle."""
    if particle.depth_frac is None:
        return one
    return replace(one, depth_frac=particle.depth_frac)


def _fill_in(
    spot: Spot,
    one: MeasuredSpot,
    particle: Particle,
    scale: ShadowScale,
    solid_px: float | None,
    *,
    is_far: bool,
) -> Spot:
    kind = name_kind(one, scale, expected_px=solid_px)
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
