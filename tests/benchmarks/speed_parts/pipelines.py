"""Background, detection and measurement of one plane, by this tool and by others.

Each takes the plane that this tool's loader made. The tuned set-ups are those of the accuracy
benchmark, which share a background of block medians; where a package has a background of its
own, that is timed as well, as its users would do it.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, Final
from unittest.mock import patch

import numpy as np
from accuracy_parts.scoring import Found

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from accuracy_parts.others.detector import Detector, Scene

    from motemap.pipeline.lens_dust import LensDust
    from motemap.records import Frame, MeasuredSpot

    Pipeline = Callable[[Frame], Sequence[Found]]

OWN: Final = "motemap: flatten, detect, measure"
OWN_WHOLE: Final = "motemap: with stack distance and lens dust"
MARKS: Final = "motemap.pipeline.finding"
BOX_PX: Final = 96
FILTER_BOXES: Final = 3
MIDDLE: Final = 2
"""Thresholds are listed from loose to strict; the third is where each does about best."""


def own(frame: Frame) -> list[Found]:
    """Flatten, detect, measure and sort with this tool, and leave the rest out."""
    with (
        patch(f"{MARKS}.fit_stack", lambda *_args, **_more: None),
        patch(f"{MARKS}.find_lens_dust", _no_lens_dust),
    ):
        return own_whole(frame)


def own_whole(frame: Frame) -> list[Found]:
    """The same, with what else is done to tell dust from everything else."""
    from motemap.blas import one_blas_thread
    from motemap.filters import one_filter_thread
    from motemap.flatten import flatten
    from motemap.pipeline.finding import find_marks
    from motemap.pipeline.known_optics import KnownOptics
    from motemap.settings import Settings
    from motemap.strips import same_workers

    settings = Settings()
    optics = KnownOptics.of(frame)
    # With the threads that the program itself has for a frame.
    with same_workers(), one_blas_thread(), one_filter_thread():
        flat = flatten(frame.plane, blur_px=optics.blur_px(), settings=settings.flatten)
        marks = find_marks(frame.plane, flat, optics, None, settings)
    return [_found(spot) for spot in marks.spots]


def _no_lens_dust(*_args: Any) -> LensDust:
    from motemap.pipeline.lens_dust import LensDust

    return LensDust(alone=(), overlapping=(), films=())


def _found(spot: MeasuredSpot) -> Found:
    return Found(row_px=spot.centre.row_px, col_px=spot.centre.col_px, width_px=spot.width_px)


def tuned(make: Callable[[], Detector], frame: Frame) -> list[Found]:
    """Run another detector as the accuracy benchmark does."""
    detector = make()
    return detector.find(_scene(frame), detector.thresholds[MIDDLE])


def _scene(frame: Frame) -> Scene:
    from accuracy_parts.others.detector import Scene

    return Scene.from_plane(frame.plane)


def _sep() -> Detector:
    from accuracy_parts.others.sep_objects import SepObjects

    return SepObjects()


def _photutils() -> Detector:
    from accuracy_parts.others.photutils_sources import PhotutilsSources

    return PhotutilsSources()


def _blobs(method: Any) -> Detector:
    from accuracy_parts.others.skimage_blobs import SkimageBlobs

    return SkimageBlobs(method=method)


def _opencv() -> Detector:
    from accuracy_parts.others.opencv import OpenCvBlobs

    return OpenCvBlobs()


def sep_alone(frame: Frame) -> list[Found]:
    """Background, noise map and extraction all by sep."""
    import sep

    light = np.array(frame.plane.light)  # it takes no array that is read-only
    box = max(8, BOX_PX // frame.plane.bin_px)
    ground = sep.Background(light, mask=~frame.plane.valid, bw=box, bh=box)
    scene = _Ready(ground.back() - light, frame, ground.rms())
    return _sep().find(scene.as_scene(), _sep().thresholds[MIDDLE])


def photutils_alone(frame: Frame) -> list[Found]:
    """Background, noise map, segmentation, deblending and catalogue all by photutils."""
    from photutils.background import Background2D

    box = max(8, BOX_PX // frame.plane.bin_px)
    ground: Any = Background2D(
        frame.plane.light, box, mask=~frame.plane.valid, filter_size=FILTER_BOXES
    )
    scene = _Ready(ground.background - frame.plane.light, frame, ground.background_rms)
    return _photutils().find(scene.as_scene(), _photutils().thresholds[MIDDLE])


def opencv_alone(frame: Frame) -> list[Found]:
    """Background by OpenCV's median of a small copy, and its blob detector."""
    import cv2

    light = frame.plane.light
    box = max(8, BOX_PX // frame.plane.bin_px)
    size = (max(4, light.shape[1] // box * 4), max(4, light.shape[0] // box * 4))
    small = cv2.medianBlur(cv2.resize(light, size, interpolation=cv2.INTER_AREA), 5)
    ground = cv2.resize(small, light.shape[::-1], interpolation=cv2.INTER_CUBIC)
    lost = ground - light
    scatter = float(1.4826 * np.median(np.abs(lost[::3, ::3])))
    scene = _Ready(lost, frame, np.float32(scatter))
    return _opencv().find(scene.as_scene(), _opencv().thresholds[MIDDLE])


class _Ready:
    """What a package's own background leaves, in the form that the detectors take."""

    def __init__(self, lost: Any, frame: Frame, noise: Any) -> None:
        self._significance = np.where(frame.plane.valid, lost / noise, 0).astype(np.float32)
        self._frame = frame

    def as_scene(self) -> Scene:
        """Return a scene whose significance is known already."""
        from accuracy_parts.others.detector import Scene

        plane = self._frame.plane
        scene = Scene(light=plane.light, usable=plane.valid, bin_px=plane.bin_px)
        vars(scene)["significance"] = self._significance
        return scene


PIPELINES: Final[dict[str, Pipeline]] = {
    OWN: own,
    OWN_WHOLE: own_whole,
    "sep, its own background": sep_alone,
    "sep, tuned": partial(tuned, _sep),
    "photutils, its own background": photutils_alone,
    "photutils, tuned": partial(tuned, _photutils),
    "scikit-image blob_log, tuned": partial(tuned, partial(_blobs, "log")),
    "scikit-image blob_dog, tuned": partial(tuned, partial(_blobs, "dog")),
    "scikit-image blob_doh, tuned": partial(tuned, partial(_blobs, "doh")),
    "OpenCV, a background of its functions": opencv_alone,
    "OpenCV, tuned": partial(tuned, _opencv),
}
