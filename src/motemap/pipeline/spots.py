"""Measured marks become spots: placed, sized, named, forecast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.classify import ShadowScale, name_kind
from motemap.optics.widths import half_widths_um
from motemap.particle import Particle, choose_stack, seen_by, size_particles
from motemap.pipeline.view import onlooker_for
from motemap.place import place
from motemap.records import Spot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.classify import Kind
    from motemap.pipeline.marks import Marks
    from motemap.records import FlatFrame, Frame, Stack
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
    solid_px = _solid_widths_px(particles, f_number, stack)
    spots = []
    for spot, index in zip(placed.spots, placed.order, strict=True):
        kind = name_kind(
            found[index], scale, depth_frac=spot.depth_frac, expected_px=solid_px[index]
        )
        spots.append(_filled_in(spot, kind, particles[index], is_far=index >= len(marks.spots)))
    return Reported(spots=tuple(spots), particles=tuple(particles[index] for index in placed.order))


def _solid_widths_px(
    particles: Sequence[Particle], f_number: float | None, stack: Stack
) -> list[float | None]:
    """Return how wide the shadows of solid specks of these sizes are in the test shot [px].

    None where that would rest on an assumption.
    """
    widths_px: list[float | None] = [None] * len(particles)
    if f_number is None or stack.source == "assumed":
        return widths_px
    alike: dict[tuple[float, float], list[int]] = {}
    for index, one in enumerate(particles):
        if one.shadow is not None and one.particle_um:
            alike.setdefault((one.shadow.tau_um, one.shadow.pitch_um), []).append(index)
    for (tau_um, pitch_um), members in alike.items():
        sizes_um = np.array([particles[index].particle_um for index in members], np.float64)
        widths = half_widths_um(sizes_um, tau_um, f_number, pitch_um) / pitch_um
        for index, width_px in zip(members, widths.tolist(), strict=True):
            widths_px[index] = width_px
    return widths_px


def _filled_in(spot: Spot, kind: Kind, particle: Particle, *, is_far: bool) -> Spot:
    """Complete a spot with its kind and its particle."""
    reasons = (*kind.reasons, *particle.reasons)
    area_um2 = particle.lost_area_um2
    # Spelt out: `replace` looks up every field of every mark anew.
    return Spot(
        id=spot.id,
        image_x_px=spot.image_x_px,
        image_y_px=spot.image_y_px,
        from_left_mm=spot.from_left_mm,
        from_top_mm=spot.from_top_mm,
        place=spot.place,
        depth_frac=spot.depth_frac,
        snr=spot.snr,
        width_um=spot.width_um,
        length_um=spot.length_um if particle.length_um is None else particle.length_um,
        lost_area_um2=spot.lost_area_um2 if area_um2 is None else area_um2,
        particle_um=particle.particle_um,
        particle_um_range=particle.particle_um_range,
        kind="speck" if is_far else kind.kind,
        layer="lens side" if is_far else particle.layer,
        shows_from_f=particle.shows_from_f,
        depth_at=particle.depth_at,
        reasons=(LENS_SIDE, *reasons) if is_far else reasons,
    )
