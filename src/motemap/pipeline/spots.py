"""Measured marks become spots: placed, sized, named, forecast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from motemap.classify import ShadowScale, name_kinds
from motemap.optics.apertures import stop_name
from motemap.optics.widths import half_widths_um
from motemap.particle import (
    Doubt,
    choose_stack,
    doubted,
    farthest_mm,
    find_cut,
    is_cooked,
    measure_light,
    seen_by,
    size_particles,
    sized_as_discs,
)
from motemap.pipeline.onlookers import onlooker_for
from motemap.place import place
from motemap.records import MeasuredSpots, Spot

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from motemap.classify import Kinds
    from motemap.particle import CastShadows, LostLight, Particles
    from motemap.pipeline.finding import FoundMarks
    from motemap.pipeline.known_optics import KnownOptics
    from motemap.place import Placed
    from motemap.records import FlatFrame, Frame, MeasuredSpot, Stack
    from motemap.settings import WorkSettings

LENS_SIDE = "far wider than dust on the filter stack throws: on the lens side"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """Spots in the order of the report, deepest first, and what their forecasts are made from.

    `shadows` is None when no forecast is possible.
    """

    spots: tuple[Spot, ...]
    shadows: CastShadows | None


def stack_of(
    marks: FoundMarks, optics: KnownOptics, work: WorkSettings, known: Stack | None
) -> Stack:
    """Return the stack distance to reckon with: given, measured, learned earlier or assumed."""
    stack = choose_stack(measured=marks.stack, given_mm=work.stack_mm, history=known)
    if stack.source != "assumed" or optics.f_number is None or optics.pitch_um is None:
        return stack
    most_mm = farthest_mm(MeasuredSpots.of(marks.spots), optics.f_number, optics.pitch_um)
    return choose_stack(None, None, None, most_mm)


def report_spots(
    marks: FoundMarks, frame: Frame, flat: FlatFrame, stack: Stack, work: WorkSettings
) -> Reported:
    """Turn marks into spots: placed, sized, named, forecast."""
    f_number, pitch_um = frame.metadata.exposure.f_number, frame.sensor.pitch_um
    found = (*marks.spots, *marks.far)
    measured = MeasuredSpots.of(found)
    particles = size_particles(
        measured,
        _lights(frame, flat, found, stack),
        stack=stack,
        f_number=f_number,
        pitch_um=pitch_um,
        work=work,
    )
    onlooker = onlooker_for(frame.image, work)
    if onlooker is not None:
        particles = seen_by(onlooker, particles, [work.shoot_at_f])
    kinds = name_kinds(
        measured,
        ShadowScale.from_optics(stack, f_number, pitch_um),
        particles.depth_frac,
        _solid_widths_px(particles, f_number, stack),
        find_cut(measured, stack=stack, f_number=f_number, pitch_um=pitch_um),
    )
    is_disc = kinds.kind != "fibre"
    doubt = Doubt.of(frame.image, frame.sensor, stack, _level_frac(flat))
    particles = doubted(sized_as_discs(particles, is_disc), is_disc, doubt)
    placed = place(measured, frame.geometry, particles.depth_frac)
    is_far = np.arange(len(found)) >= len(marks.spots)
    shadows = particles.shadows
    return Reported(
        spots=_spots(measured, particles, kinds, placed, is_far, pitch_um),
        shadows=None if shadows is None else shadows.some(placed.order),
    )


def _level_frac(flat: FlatFrame) -> float:
    """Return the light of the middle of the empty field, 1 being white."""
    row, col = (n_cells // 2 for n_cells in flat.contrast.shape)
    return float(flat.background[row : row + 1, col : col + 1][0, 0])


def _lights(
    frame: Frame, flat: FlatFrame, found: Sequence[MeasuredSpot], stack: Stack
) -> tuple[LostLight | None, ...]:
    """Measure the light that each mark takes; None for all without aperture or sensor size."""
    f_number, pitch_um = frame.metadata.exposure.f_number, frame.sensor.pitch_um
    if f_number is None or pitch_um is None:
        return (None,) * len(found)
    return measure_light(
        flat,
        found,
        stack=stack,
        f_number=f_number,
        pitch_um=pitch_um,
        is_cooked=is_cooked(frame.image),
    )


def _solid_widths_px(
    particles: Particles, f_number: float | None, stack: Stack
) -> NDArray[np.float64]:
    """Return how wide the shadows of solid specks of these sizes are in the test shot [px].

    NaN where that would rest on an assumption.
    """
    sizes_um, shadows = particles.particle_um, particles.shadows
    widths_px = np.full(sizes_um.size, np.nan)
    if f_number is None or shadows is None or stack.source == "assumed":
        return widths_px
    for tau_um, _, members in shadows.alike():
        sized = members[sizes_um[members] > 0]
        widths_um = half_widths_um(sizes_um[sized], tau_um, f_number, shadows.pitch_um)
        widths_px[sized] = widths_um / shadows.pitch_um
    return widths_px


def _spots(
    measured: MeasuredSpots,
    particles: Particles,
    kinds: Kinds,
    placed: Placed,
    is_far: NDArray[np.bool_],
    pitch_um: float | None,
) -> tuple[Spot, ...]:
    """Write down what all columns say of each mark, in the order of the report."""
    order = placed.order
    width_um = measured.width_px * (np.nan if pitch_um is None else pitch_um)
    columns: dict[str, Iterable[Any]] = {
        "id": range(1, order.size + 1),
        "image_x_px": measured.col_px[order].tolist(),
        "image_y_px": measured.row_px[order].tolist(),
        "from_left_mm": _known(placed.from_left_mm),
        "from_top_mm": _known(placed.from_top_mm),
        "place": placed.place,
        "depth_frac": particles.depth_frac[order].tolist(),
        "snr": measured.snr[order].tolist(),
        "width_um": _known(width_um[order]),
        "length_um": _known(particles.length_um[order]),
        "lost_area_um2": _known(particles.lost_area_um2[order]),
        "particle_um": _known(particles.particle_um[order]),
        "particle_um_range": _ranges(particles, order),
        "kind": np.where(is_far, "speck", kinds.kind)[order].tolist(),
        "layer": np.where(is_far, "lens side", particles.layer)[order].tolist(),
        "shows_from_f": _known(particles.shows_from_f[order]),
        "depth_at": _depths_at(particles, order),
        "reasons": _reasons(particles, kinds, is_far, order),
    }
    rows = zip(*columns.values(), strict=True)
    return tuple(Spot(**dict(zip(columns, row, strict=True))) for row in rows)


def _known(column: NDArray[np.float64]) -> list[float | None]:
    """Return a column as plain numbers, None where they are unknown."""
    values: list[float | None] = column.tolist()
    for index in np.flatnonzero(np.isnan(column)).tolist():
        values[index] = None
    return values


def _ranges(particles: Particles, order: NDArray[np.intp]) -> list[tuple[float, float] | None]:
    ends = zip(_known(particles.least_um[order]), _known(particles.most_um[order]), strict=True)
    return [None if least is None or most is None else (least, most) for least, most in ends]


def _depths_at(particles: Particles, order: NDArray[np.intp]) -> Sequence[dict[str, float] | None]:
    """Return the depths of each mark by aperture."""
    if particles.depth_at is None:
        return (None,) * order.size
    names = [stop_name(f_number) for f_number in particles.reported_f]
    return [
        dict(zip(names, depths, strict=True)) for depths in particles.depth_at[:, order].T.tolist()
    ]


def _reasons(
    particles: Particles, kinds: Kinds, is_far: NDArray[np.bool_], order: NDArray[np.intp]
) -> list[tuple[str, ...]]:
    reasons = zip(kinds.reason[order], particles.reason[order], is_far[order], strict=True)
    return [
        (LENS_SIDE, kind, layer) if is_lens_dust else (kind, layer)
        for kind, layer, is_lens_dust in reasons
    ]
