"""Frames as the pipeline would report them, built by hand; no picture is read."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

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
from motemap.tallies import ApertureTally, Cleanliness

if TYPE_CHECKING:
    from collections.abc import Iterable

# 6000 x 4000 px of 6 um: 36 x 24 mm, the worked example of the coordinates page.
PITCH_UM = 6.0
HEIGHT_MM = 24.0

DEPTHS = {"2.8": 0.0012, "4": 0.004, "5.6": 0.011, "8": 0.024, "11": 0.05, "16": 0.083, "22": 0.1}


EXPOSURE = Exposure(
    f_number=22.0,
    iso=100.0,
    shutter_s=0.004,
    focal_length_mm=50.0,
    taken_at="2031-05-02T10:15:00",
)
VERDICT = Verdict(
    level="clean",
    method="blower",
    reasons=("1 of 2 spots shows at f/11; the worst is at the lower left.",),
    cautions=("Never use a can of compressed gas.", "The camera's manual comes first."),
)


def tallies(n_showing: int = 1) -> tuple[ApertureTally, ...]:
    """Return a forecast in which the spots from number 1 on show from f/8 on."""
    shown = tuple(range(1, n_showing + 1))
    return tuple(
        ApertureTally(
            f_number=float(label),
            n_showing=n_showing if depth >= 0.02 else 0,
            worst=shown if depth >= 0.02 else (),
            worst_depth_frac=(depth,) * n_showing if depth >= 0.02 else (),
        )
        for label, depth in DEPTHS.items()
    )


def spot(number: int = 1, **changes: Any) -> Spot:
    """Return a speck that shows from f/8; its sensor position follows from its pixel."""
    column_px = changes.pop("image_x_px", 1000.0)
    row_px = changes.pop("image_y_px", 500.0)
    plain = Spot(
        id=number,
        image_x_px=column_px,
        image_y_px=row_px,
        from_left_mm=round((column_px + 0.5) * PITCH_UM / 1000, 3),
        from_top_mm=round(HEIGHT_MM - (row_px + 0.5) * PITCH_UM / 1000, 3),
        place="lower left",
        depth_frac=0.1,
        snr=80.0,
        width_um=51.0,
        length_um=55.0,
        lost_area_um2=1000.0,
        particle_um=35.7,
        particle_um_range=(31.0, 40.0),
        kind="speck",
        layer="filter stack",
        shows_from_f=8.0,
        depth_at=dict(DEPTHS),
        reasons=("round", "as wide as the stack allows"),
    )
    return replace(plain, **changes)


def faint(number: int, **changes: Any) -> Spot:
    """Return a speck that shows nowhere up to f/16."""
    depth_at = {aperture: round(depth / 10, 6) for aperture, depth in DEPTHS.items()}
    wanted = {"depth_frac": 0.01, "particle_um": 11.2, "shows_from_f": None, "depth_at": depth_at}
    return spot(number, **(wanted | changes))


def frame(**changes: Any) -> FrameReport:
    """Return a frame with one spot that shows and one that does not."""
    spots = (
        spot(1),
        faint(2, image_x_px=3000.25, image_y_px=2000.5, place="centre"),
    )
    plain = FrameReport(
        file="trip/MOTE0001.DNG",
        state="judged",
        camera=Camera(maker="Larkspur", model="L-2", serial="LK00017", lens="Larkspur 50 mm"),
        image=ImageInfo(
            kind="raw", width_px=6000, height_px=4000, exif_orientation=1, bits=14, mosaic="2x2"
        ),
        sensor=Sensor(
            format="full frame",
            width_mm=36.0,
            height_mm=24.0,
            pitch_um=PITCH_UM,
            source="metadata",
        ),
        exposure=EXPOSURE,
        shot_checks=(
            ShotCheck(name="aperture", value=22.0, wanted="f/16 or narrower", outcome="ok"),
            ShotCheck(name="ISO", value=100.0, wanted="64 to 400", outcome="ok"),
        ),
        sensitivity=Sensitivity(
            noise_frac=0.006, smallest_depth_frac=0.0042, smallest_particle_um=12.3
        ),
        stack=Stack(distance_mm=1.02, uncertainty_mm=0.05, source="measured"),
        spots=spots,
        counts=Counts(found=2, showing=1),
        forecast=tallies(),
        cleanliness=Cleanliness(
            at_um=20.0,
            n_particles=1,
            equivalent_level=96.7,
            is_upper_bound=False,
            covered_frac=1.27e-6,
        ),
        verdict=VERDICT,
    )
    return replace(plain, **changes)


def ready(**changes: Any) -> FrameReport:
    """Return a clean frame."""
    wanted = {
        "file": "trip/MOTE0002.DNG",
        "spots": (),
        "counts": Counts(),
        "forecast": tallies(0),
        "cleanliness": Cleanliness(
            at_um=20.0,
            n_particles=0,
            equivalent_level=96.7,
            is_upper_bound=True,
            covered_frac=0.0,
        ),
        "verdict": Verdict(level="ready", reasons=("No spot was found.",)),
    }
    return frame(**(wanted | changes))


def reshoot(**changes: Any) -> FrameReport:
    """Return a frame not fit to judge."""
    wanted = {
        "file": "trip/MOTE0003.JPG",
        "state": "reshoot",
        "image": ImageInfo(
            kind="jpeg",
            width_px=6000,
            height_px=4000,
            exif_orientation=1,
            bits=8,
            curve="srgb",
        ),
        "shot_checks": (
            ShotCheck(
                name="aperture",
                value=4.0,
                wanted="f/16 or narrower",
                outcome="fail",
                advice="Stop down to f/22.",
            ),
            ShotCheck(
                name="brightness",
                value=0.31,
                wanted="0.5 to 0.9",
                outcome="warn",
                advice="Expose one stop more.",
            ),
        ),
        "spots": (),
        "counts": Counts(),
        "forecast": (),
        "cleanliness": None,
        "verdict": Verdict(
            level="reshoot", reasons=("This frame could not have shown what matters.",)
        ),
    }
    return frame(**(wanted | changes))


def in_order(spots: Iterable[Spot]) -> tuple[Spot, ...]:
    """Return spots as a report has them: deepest first, then by row and column, from 1."""
    ranked = sorted(spots, key=lambda one: (-one.depth_frac, one.image_y_px, one.image_x_px))
    return tuple(replace(one, id=number) for number, one in enumerate(ranked, start=1))


def unreadable(file: str = "trip/MOTE0004.DNG") -> FrameReport:
    """Return a file that could not be read."""
    return FrameReport(
        file=file,
        state="unreadable",
        error=ErrorNote(cause="The file is cut off.", repair="Copy it from the card again."),
    )
