"""From a loaded picture to its report: the whole flow on one screen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from motemap.blas import one_blas_thread
from motemap.filters import one_filter_thread
from motemap.flatten import flatten
from motemap.particle import DEFAULT_STACK_MM, is_cooked
from motemap.pipeline.checks import check_shot, unfit
from motemap.pipeline.conclusion import conclude
from motemap.pipeline.finding import FoundMarks, find_marks
from motemap.pipeline.known_optics import KnownOptics, choose_bin
from motemap.pipeline.spots import report_spots, stack_of
from motemap.place import why_unplaced
from motemap.records import Frame, FrameReport
from motemap.sensor import geometry_of, resolve_sensor

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.load import LoadedPicture
    from motemap.particle import CastShadows
    from motemap.records import FlatFrame, ImageInfo, Metadata, ShotCheck, Stack
    from motemap.settings import Settings, WorkSettings

STACK_TELLS = (
    "sizes are surer than that, forecasts for other apertures up to twice as rough, and marks may show "
    "sooner or later than said."
)
"""Drawn frames: of a distance 40 % too short sizes are 0 to 25 % off, depths at f/5.6 to f/11 a factor
of 2.4, which marks show a stop sooner."""
STACK_ASSUMED = (
    "The distance of the dust from the photosites could not be measured here; a usual one is "
    "assumed, which is right to within {:.0f} % or so: " + STACK_TELLS
)
STACK_NARROW = (
    "The distance of the dust from the photosites could not be measured here; shadows so narrow come "
    "from nearer than usual, so about the farthest that can throw them is assumed. It may lie nearer, by "
    "{:.0f} % or so, at f/22 by more: " + STACK_TELLS
)
STACK_VAGUE = (
    "The marks here tell the distance of the dust from the photosites only to within {:.0f} % or so: "
    + STACK_TELLS
)
VAGUE_FROM = 0.15
"""Share of the distance from which its uncertainty is said to matter; a choice."""
CURVE_NOTE = (
    "Depths from a developed picture are approximate: its tone curve is not known. "
    "A raw file has no such doubt."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """A judged frame with the planes it was judged from, for pictures and bursts.

    `frame`, `flat` and `marks` are None where the file could not be read or is far too small.
    `shadows` are those of the spots of the report, for forecasts at any aperture; None where
    none is possible, or none is made because the frame has to be shot again.
    """

    report: FrameReport
    frame: Frame | None = None
    flat: FlatFrame | None = None
    marks: FoundMarks | None = None
    shadows: CastShadows | None = None


def wished_bin(info: ImageInfo, metadata: Metadata, work: WorkSettings) -> int:
    """Return how many stored pixels a cell of a picture is to average along a side."""
    sensor, _ = resolve_sensor(info, metadata, work.sensor)
    return choose_bin(info, metadata.exposure.f_number, sensor.pitch_um)


def frame_of(path: Path, loaded: LoadedPicture, work: WorkSettings) -> Frame:
    """Settle how large the sensor of a picture is, and return the frame."""
    sensor, notes = resolve_sensor(loaded.info, loaded.metadata, work.sensor)
    return Frame(
        path=str(path),
        image=loaded.info,
        metadata=loaded.metadata,
        sensor=sensor,
        geometry=geometry_of(loaded.info, sensor),
        plane=loaded.plane,
        notes=notes,
    )


@one_blas_thread()
@one_filter_thread()
def judge_frame(
    frame: Frame,
    settings: Settings,
    *,
    known_stack: Stack | None = None,
) -> Look:
    """Judge a loaded frame.

    Parameters
    ----------
    frame : Frame
    settings : Settings
    known_stack : Stack, optional
        Stack distance learned from earlier frames of the same body.
    """
    early = unfit(frame)
    if early is not None:
        return Look(report=conclude(_seen(frame, checks=early), settings.work))
    optics = KnownOptics.of(frame)
    flat = flatten(frame.plane, blur_px=optics.blur_px(), settings=settings.flatten)
    return judge_flat(frame, flat, settings, known_stack=known_stack)


@one_blas_thread()
@one_filter_thread()
def judge_flat(
    frame: Frame,
    flat: FlatFrame,
    settings: Settings,
    *,
    known_stack: Stack | None = None,
) -> Look:
    """Judge a frame that was flattened already, a burst's mean for one; see `judge_frame`."""
    optics = KnownOptics.of(frame)
    marks = find_marks(frame.plane, flat, optics, known_stack, settings)
    stack = stack_of(marks, optics, settings.work, known_stack)
    checks, sensitivity = check_shot(frame, flat, marks, stack, settings)
    reported = report_spots(marks, frame, flat, stack, settings.work)
    report = replace(
        _seen(frame, checks=checks, remarks=_remarks(frame, stack)),
        sensitivity=sensitivity,
        stack=stack,
        spots=reported.spots,
    )
    report = conclude(report, settings.work)
    return Look(
        report=report,
        frame=frame,
        flat=flat,
        marks=marks,
        shadows=reported.shadows if report.state == "judged" else None,
    )


def stack_remark(stack: Stack) -> str | None:
    """Say how far the distance that a report reckons with is to be doubted; None if hardly."""
    if stack.distance_mm is None or stack.uncertainty_mm is None:
        return None
    share = stack.uncertainty_mm / stack.distance_mm
    if stack.source == "assumed":
        is_usual = stack.distance_mm == DEFAULT_STACK_MM
        return (STACK_ASSUMED if is_usual else STACK_NARROW).format(100 * share)
    is_vague = stack.source == "measured" and share >= VAGUE_FROM
    return STACK_VAGUE.format(100 * share) if is_vague else None


def with_stack_told(report: FrameReport, before: Stack) -> FrameReport:
    """Return a report whose notes speak of its own stack distance, no longer of the one before."""
    told = None if report.exposure.f_number is None else stack_remark(report.stack)
    others = (note for note in report.notes if note not in {stack_remark(before), told})
    return replace(report, notes=(*others, told) if told else tuple(others))


def _remarks(frame: Frame, stack: Stack) -> tuple[str, ...]:
    """Say what a report rests on that is not known of the frame."""
    remarks = []
    unplaced = why_unplaced(frame.geometry)
    if unplaced:
        remarks.append(unplaced)
    of_stack = stack_remark(stack)
    if of_stack and frame.metadata.exposure.f_number is not None:
        remarks.append(of_stack)
    if is_cooked(frame.image):
        remarks.append(CURVE_NOTE)
    return tuple(remarks)


def _seen(
    frame: Frame, *, checks: tuple[ShotCheck, ...], remarks: tuple[str, ...] = ()
) -> FrameReport:
    """Return what is to be said of a frame beside what was found in it; nothing follows from it yet."""
    return FrameReport(
        file=frame.path,
        state="reshoot",
        camera=frame.metadata.camera,
        image=frame.image,
        sensor=frame.sensor,
        exposure=frame.metadata.exposure,
        shot_checks=checks,
        notes=(*frame.notes, *remarks),
    )
