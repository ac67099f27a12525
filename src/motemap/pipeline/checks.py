"""All questions asked of one test shot, in the order in which a person would ask them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from motemap.coords import UM_PER_MM
from motemap.medians import typical
from motemap.particle import particle_for_depth, smallest_seen
from motemap.pipeline.known_optics import USUAL_F, USUAL_PITCH_UM, USUAL_STACK_MM, KnownOptics
from motemap.pipeline.lens_dust import is_object
from motemap.pipeline.onlookers import onlooker_for
from motemap.records import Sensitivity
from motemap.shot import (
    FaintShadow,
    check_exposure,
    check_field,
    check_light,
    check_resolution,
    check_sensitivity,
    measure_structure,
    smallest_depth,
)

if TYPE_CHECKING:
    from motemap.pipeline.finding import FoundMarks
    from motemap.records import FlatFrame, Frame, MeasuredSpot, ShotCheck, Stack
    from motemap.settings import Settings, WorkSettings

LINE_FRAC = 0.1
"""So deep is a line that crosses the picture where it is no streak of cleaning; a choice."""
LINE_UM = 15_000.0
"""Hairs on small sensors may be as long as these, but hardly longer than this; a choice."""
ANYWHERE = math.sqrt(2)
"""A speck may lie anywhere on a pixel: averaged over where, it is as if seen by two of them, one
after the other, whose variances add."""


def unfit(frame: Frame) -> tuple[ShotCheck, ...] | None:
    """Return the checks of a frame that is not worth searching; None when it is."""
    checks = (
        *check_exposure(frame.metadata.exposure),
        *check_light(typical(frame.plane.light), frame.plane),
        check_resolution(frame.image),
    )
    return checks if any(check.outcome == "fail" for check in checks) else None


def check_shot(
    frame: Frame, flat: FlatFrame, marks: FoundMarks, stack: Stack, settings: Settings
) -> tuple[tuple[ShotCheck, ...], Sensitivity]:
    """Ask everything and say how small a speck the frame could have shown."""
    optics = KnownOptics.of(frame)
    shadow = FaintShadow.thrown(
        tau_um=(stack.distance_mm or USUAL_STACK_MM) * UM_PER_MM,
        f_number=optics.f_number or USUAL_F,
        pitch_um=optics.pitch_um or USUAL_PITCH_UM,
    )
    depth_frac = _smallest_depth(flat, marks, shadow, settings)
    smallest_um, matters_um = _smallest_sizes_um(frame, stack, depth_frac, settings.work)
    checks = (
        *check_exposure(frame.metadata.exposure),
        *check_light(typical(frame.plane.light), frame.plane),
        *check_field(
            measure_structure(flat, marks.marked),
            flat.stripe_frac,
            n_objects=sum(is_object(spot, optics) for spot in marks.spots),
            n_lines=sum(is_line_across(spot, frame) for spot in marks.spots),
        ),
        check_resolution(
            frame.image,
            shadow if _is_scaled(frame, stack) else None,
            _narrowest(frame, stack, optics),
        ),
        check_sensitivity(
            smallest_um,
            matters_um,
            settings.work,
            depth_frac,
        ),
    )
    sensitivity = Sensitivity(
        # Noise below what codes show leaves no scatter at all, and is unknown.
        noise_frac=frame.plane.fine_noise_frac or None,
        smallest_depth_frac=depth_frac,
        smallest_particle_um=smallest_um,
    )
    return checks, sensitivity


def is_line_across(spot: MeasuredSpot, frame: Frame) -> bool:
    """Tell a deep line that enters the picture and is as long as it: hardly any fibre is."""
    is_long = spot.length_px >= min(frame.image.width_px, frame.image.height_px)
    if frame.sensor.pitch_um is not None:
        is_long &= spot.length_px * frame.sensor.pitch_um >= LINE_UM
    return is_long and spot.is_at_border and spot.depth_frac >= LINE_FRAC


def _smallest_depth(
    flat: FlatFrame, marks: FoundMarks, shadow: FaintShadow, settings: Settings
) -> float:
    """Return the depth from which on the search finds specks, and coding by blocks leaves them."""
    depth_frac = smallest_depth(
        marks.detection,
        shadow=shadow,
        bin_px=flat.bin_px,
        floor_frac=0.0 if flat.floor_frac is None else typical(flat.floor_frac),
        settings=settings.detect,
    )
    if marks.blocks is None or flat.step_frac is None:
        return depth_frac
    told_codes = marks.blocks.told_codes(shadow.radius_px, shadow.loss_frac)
    return max(depth_frac, told_codes * typical(flat.step_frac))


def _smallest_sizes_um(
    frame: Frame, stack: Stack, depth_frac: float, work: WorkSettings
) -> tuple[float | None, float | None]:
    """Return the smallest speck as deep as this, and the smallest that matters [um].

    Both are None where aperture or sensor size is unknown.
    """
    f_number, pitch_um = frame.metadata.exposure.f_number, frame.sensor.pitch_um
    if f_number is None or pitch_um is None:
        return None, None
    smallest_um = particle_for_depth(
        depth_frac, stack=stack, f_number=f_number, pitch_um=ANYWHERE * pitch_um
    )
    return smallest_um, _smallest_that_matters(frame, stack, pitch_um, work)


def _is_scaled(frame: Frame, stack: Stack) -> bool:
    """Whether it is known how wide shadows are in pixels: guesses alone send no frame back."""
    is_guess = frame.sensor.source == "assumed" and stack.source == "assumed"
    return frame.metadata.exposure.f_number is not None and not is_guess


def _narrowest(frame: Frame, stack: Stack, optics: KnownOptics) -> FaintShadow | None:
    """Return what a speck throws from the nearest distance that an assumed one may stand for.

    None where that is known or tells nothing, and where pixels are so fine that they are averaged:
    those show the narrowest shadow well.
    """
    if stack.source != "assumed" or stack.distance_mm is None or frame.plane.bin_px > 1:
        return None
    if optics.f_number is None or optics.pitch_um is None or frame.sensor.source == "assumed":
        return None
    nearest_mm = stack.distance_mm - (stack.uncertainty_mm or 0.0)
    return FaintShadow.thrown(
        tau_um=nearest_mm * UM_PER_MM, f_number=optics.f_number, pitch_um=optics.pitch_um
    )


def _smallest_that_matters(
    frame: Frame, stack: Stack, pitch_um: float, work: WorkSettings
) -> float | None:
    """Return the smallest speck that would show in the photographer's pictures [um]."""
    onlooker = onlooker_for(frame.image, work)
    f_number = work.shoot_at_f
    if onlooker is not None:
        return smallest_seen(onlooker, stack=stack, f_number=f_number, pitch_um=pitch_um)
    return particle_for_depth(
        work.show_depth_frac, stack=stack, f_number=f_number, pitch_um=pitch_um
    )
