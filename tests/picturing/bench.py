"""Sensors as they come to the cleaning bench: reports built by hand.

Positions are random but seeded; sizes follow a power law; depths follow the ray model
``(particle / blur) ** 2``, which is all that a picture needs to be drawn from.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from motemap.changes import Comparison, MarkFate, Registration, StateChange
from motemap.facts.stops import DEPTH_AT_LABELS, f_stops
from motemap.records import (
    Camera,
    Counts,
    ErrorNote,
    Exposure,
    FrameReport,
    ImageInfo,
    Sensitivity,
    Sensor,
    ShotCheck,
    Spot,
    Stack,
    Verdict,
)

if TYPE_CHECKING:
    from motemap.changes import Fate

STACK_MM = 1.3
TEST_F = 22.0
SHOOT_AT_F = 11.0
SHOW_DEPTH = 0.02
DEEPEST = 0.97
EXPOSURE = Exposure(
    f_number=TEST_F,
    iso=100.0,
    shutter_s=2.0,
    focal_length_mm=50.0,
    taken_at="2031-05-04T10:20:30",
)
SHOT_CHECKS = (
    ShotCheck(name="aperture", value=22.0, wanted="f/16 or narrower", outcome="ok"),
    ShotCheck(
        name="uneven light",
        value=0.31,
        wanted="below 0.25",
        outcome="warn",
        advice="Aim at an evenly lit wall.",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """A sensor: its format, size and pixel distance."""

    name: str = "full frame"
    width_mm: float = 36.0
    height_mm: float = 24.0
    pitch_um: float = 6.0

    @property
    def width_px(self) -> int:
        return round(self.width_mm * 1000 / self.pitch_um)

    @property
    def height_px(self) -> int:
        return round(self.height_mm * 1000 / self.pitch_um)


FULL_FRAME = Chip()
MEDIUM = Chip(name="44x33", width_mm=43.8, height_mm=32.9, pitch_um=5.3)
SMALL = Chip(name="1-inch", width_mm=13.2, height_mm=8.8, pitch_um=2.4)


def blur_um(f_number: float) -> float:
    """Return the width of the shadow of a very small speck."""
    return STACK_MM * 1000 / f_number


def depth(particle_um: float, f_number: float, kind: str) -> float:
    """Return the depth of a shadow: a fibre covers a strip of the blur disc."""
    share = particle_um / blur_um(f_number)
    return min(DEEPEST, 1.27 * share if kind == "fibre" else share**2)


def mark(
    from_left_mm: float,
    from_top_mm: float,
    particle_um: float = 30.0,
    *,
    chip: Chip = FULL_FRAME,
    **changes: Any,
) -> Spot:
    """Return a mark at a place on the sensor; its pixel follows from that."""
    kind = changes.get("kind", "speck")
    shadow_um = max(0.8 * blur_um(TEST_F), particle_um)
    plain = Spot(
        id=1,
        image_x_px=from_left_mm * 1000 / chip.pitch_um - 0.5,
        image_y_px=(chip.height_mm - from_top_mm) * 1000 / chip.pitch_um - 0.5,
        from_left_mm=from_left_mm,
        from_top_mm=from_top_mm,
        place="upper left",
        depth_frac=depth(particle_um, TEST_F, kind),
        snr=40.0,
        width_um=shadow_um,
        length_um=shadow_um,
        lost_area_um2=0.785 * particle_um**2,
        particle_um=particle_um,
        particle_um_range=(0.8 * particle_um, 1.2 * particle_um),
        kind="speck",
        layer="filter stack",
        shows_from_f=next(
            (
                stop.nominal
                for stop in f_stops()
                if depth(particle_um, stop.nominal, kind) >= SHOW_DEPTH
            ),
            None,
        ),
        depth_at={label: depth(particle_um, float(label), kind) for label in DEPTH_AT_LABELS},
        reasons=("round, as wide as the filter stack allows",),
    )
    return replace(plain, **changes)


def one_of_each(chip: Chip = FULL_FRAME) -> list[Spot]:
    """Return a fibre, a smear, a droplet, a lens shadow, one under the glass, one in a corner."""
    width_mm, height_mm = chip.width_mm, chip.height_mm
    return [
        mark(0.3 * width_mm, 0.7 * height_mm, 18, chip=chip, kind="fibre", length_um=900.0),
        mark(
            0.8 * width_mm, 0.2 * height_mm, 300, chip=chip,
            kind="smear", width_um=700.0, length_um=2600.0,
        ),
        mark(0.5 * width_mm, 0.3 * height_mm, 45, chip=chip, kind="droplet"),
        mark(
            0.6 * width_mm, 0.6 * height_mm, 30, chip=chip,
            layer="lens side", width_um=2400.0, length_um=2400.0,
        ),
        mark(0.9 * width_mm, 0.9 * height_mm, 40, chip=chip, layer="inside"),
        mark(0.4, height_mm - 0.4, 60, chip=chip),
    ]  # fmt: skip


def numbered(spots: list[Spot]) -> tuple[Spot, ...]:
    """Return spots in the order of a report: deepest first, then row, then column."""
    ranked = sorted(spots, key=lambda spot: (-spot.depth_frac, spot.image_y_px, spot.image_x_px))
    return tuple(replace(spot, id=place) for place, spot in enumerate(ranked, start=1))


def dusty(n_spots: int, *, seed: int = 5, chip: Chip = FULL_FRAME, **changes: Any) -> FrameReport:
    """Return a report with so many spots; from six on, one of each kind is among them."""
    dice = random.Random(seed)
    spots = one_of_each(chip) if n_spots >= 6 else []
    while len(spots) < n_spots:
        particle_um = min(160.0, 7 * (1 - dice.random()) ** (-1 / 1.6))
        place = (dice.uniform(0.2, chip.width_mm - 0.2), dice.uniform(0.2, chip.height_mm - 0.2))
        spots.append(mark(*place, particle_um, chip=chip))
    return report(numbered(spots), chip=chip, **changes)


def report(spots: tuple[Spot, ...], *, chip: Chip = FULL_FRAME, **changes: Any) -> FrameReport:
    """Return a judged frame with these spots."""
    showing = [spot for spot in spots if (spot.depth_at or {}).get("11", 0.0) >= SHOW_DEPTH]
    plain = FrameReport(
        file="bench/MOTE0412.DNG",
        state="judged",
        camera=Camera(maker="Larkspur", model="L-2", serial="LK00412", lens="Larkspur 50 mm"),
        image=ImageInfo(
            kind="raw",
            width_px=chip.width_px,
            height_px=chip.height_px,
            exif_orientation=1,
            bits=14,
            mosaic="2x2",
        ),
        sensor=Sensor(
            format=chip.name,
            width_mm=chip.width_mm,
            height_mm=chip.height_mm,
            pitch_um=chip.pitch_um,
            source="metadata",
        ),
        exposure=EXPOSURE,
        shot_checks=SHOT_CHECKS,
        sensitivity=Sensitivity(
            noise_frac=0.004, smallest_depth_frac=0.006, smallest_particle_um=5.1
        ),
        stack=Stack(distance_mm=STACK_MM, uncertainty_mm=0.1, source="measured"),
        spots=spots,
        counts=Counts(found=len(spots), showing=len(showing)),
        verdict=Verdict(
            level="clean" if showing else "ready",
            method="wet swab" if showing else "none",
            reasons=("What shows lies all over the sensor.",),
            cautions=("Blow loose dust off before the swab touches anything.",) if showing else (),
        ),
    )
    return replace(plain, **changes)


def turned(whole: FrameReport) -> FrameReport:
    """Return the same shot as a program might have stored it: upright, place on sensor lost."""
    assert whole.image is not None
    image = replace(whole.image, width_px=whole.image.height_px, height_px=whole.image.width_px)
    spots = tuple(
        replace(
            spot,
            image_x_px=spot.image_y_px,
            image_y_px=spot.image_x_px,
            from_left_mm=None,
            from_top_mm=None,
            place=None,
        )
        for spot in whole.spots
    )
    return replace(whole, image=image, spots=spots)


def sizeless(whole: FrameReport) -> FrameReport:
    """Return the same shot with an unknown sensor: no places, no sizes, no forecast."""
    spots = tuple(
        replace(
            spot,
            from_left_mm=None,
            from_top_mm=None,
            place=None,
            width_um=None,
            length_um=None,
            lost_area_um2=None,
            particle_um=None,
            particle_um_range=None,
            shows_from_f=None,
            depth_at=None,
            kind="unsure",
            layer="unsure",
        )
        for spot in whole.spots
    )
    unknown = Sensor(format=None, width_mm=None, height_mm=None, pitch_um=None, source="assumed")
    stack = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")
    return replace(whole, sensor=unknown, stack=stack, spots=spots)


def spoiled(whole: FrameReport) -> FrameReport:
    """Return the same shot, not fit to judge by."""
    reasons = ("The picture shows a scene instead of a blank field.",)
    return replace(whole, state="reshoot", verdict=Verdict(level="reshoot", reasons=reasons))


def unreadable(file: str = "bench/MOTE0413.DNG") -> FrameReport:
    """Return the report of a file that could not be read."""
    note = ErrorNote(cause="The file is cut off.", repair="Copy it from the card again.")
    return FrameReport(file=file, state="unreadable", error=note)


def cleaned(n_spots: int = 41, *, seed: int = 1) -> Comparison:
    """Return a comparison of two states with every fate in it."""
    before = dusty(n_spots, file="bench/before/MOTE0412.DNG")
    gone, left = _after_cleaning(before, random.Random(seed))
    after = report(
        tuple(replace(spot, id=place) for place, (spot, _, _) in enumerate(left, start=1)),
        file="bench/after/MOTE0413.DNG",
    )
    kept = [
        MarkFate(fate=fate, before_id=before_id, after_id=place)
        for place, (_, fate, before_id) in enumerate(left, start=1)
    ]
    change = StateChange(
        before=before.file,
        after=after.file,
        registration=Registration(
            scale=1.0, shift_x_px=2.0, shift_y_px=1.0, residual_px=0.3, n_used=9
        ),
        marks=(*gone, *kept),
        done=("blower",),
    )
    verdict = Verdict(
        level="clean",
        method="wet swab",
        reasons=("What is left has outlived the blower.",),
        cautions=("A new swab for every repeat.",),
    )
    story = f"{len(before.spots)} marks, then {len(after.spots)}"
    return Comparison(
        states=(before, after),
        changes=(change,),
        done=((), change.done),
        verdict=verdict,
        story=story,
    )


Left = list[tuple[Spot, "Fate", int | None]]
"""Marks of the later state, what became of each, and its number in the earlier one."""


def _after_cleaning(before: FrameReport, dice: random.Random) -> tuple[list[MarkFate], Left]:
    """Return what went, and what is there afterwards, deepest first."""
    gone: list[MarkFate] = []
    left: Left = [(mark(20.0, 20.0, 25.0), "new", None), (mark(33.0, 2.0, 14.0), "new", None)]
    for spot in before.spots:
        fate: Fate = dice.choices(
            ("gone", "undecided", "stayed", "weaker", "moved"), (60, 5, 20, 9, 6)
        )[0]
        if fate in {"gone", "undecided"}:
            gone.append(MarkFate(fate=fate, before_id=spot.id, after_id=None, reasons=("so",)))
            continue
        stayed = spot
        if fate == "moved":
            assert spot.from_left_mm is not None
            stayed = replace(spot, from_left_mm=(spot.from_left_mm + 7.0) % 36.0)
        left.append((stayed, fate, spot.id))
    left.sort(key=lambda one: -one[0].depth_frac)
    return gone, left
