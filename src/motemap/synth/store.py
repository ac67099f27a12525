"""Writes a drawn frame and, beside it, the truth about it."""

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from motemap.errors import OutputError
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff
from motemap.synth.frame import DrawnFrame
from motemap.synth.truth import TRUTH_VERSION

SUFFIXES = {"dng": ".dng", "jpeg": ".jpg", "tiff": ".tif", "png": ".png"}
"""File name ending of each format."""


def write_frame(drawn: DrawnFrame, path: Path) -> None:
    """Write the frame in the format its record asks for.

    Raises
    ------
    OutputError
        When the file cannot be written.
    """
    spec, tags = drawn.spec, frame_tags(drawn)
    if spec.file.format == "dng":
        write_dng(
            path,
            drawn.codes.astype(np.uint16, copy=False),
            tags=tags,
            cfa=spec.file.mosaic,
            black=spec.sensor.black,
            white=spec.sensor.white,
            compression=spec.file.compression,
        )
    elif spec.file.format == "jpeg":
        write_jpeg(
            path,
            drawn.codes.astype(np.uint8, copy=False),
            quality=spec.file.quality,
            subsampling=spec.file.subsampling,
            tags=tags,
        )
    elif spec.file.format == "tiff":
        write_tiff(path, drawn.codes, tags=tags)
    else:
        write_png(path, drawn.codes, tags=tags)


def frame_tags(drawn: DrawnFrame) -> FileTags:
    """Return the metadata of a drawn frame."""
    spec = drawn.spec
    orientation = 1 if spec.file.is_turned else spec.file.orientation
    if not spec.file.has_exif:
        return FileTags(orientation=None if orientation == 1 else orientation)
    return replace(
        spec.file.tags,
        f_number=spec.f_number,
        iso=round(spec.sensor.iso),
        orientation=orientation,
        focal_plane_pitch_um=spec.pitch_um * spec.shrink,
    )


def truth_dict(drawn: DrawnFrame, file_name: str) -> dict[str, Any]:
    """Return the truth about a frame as plain values; the keys are those of the report."""
    height_px, width_px = drawn.codes.shape[:2]
    return {
        "truth": "motemap.simulate",
        "truth_version": TRUTH_VERSION,
        "file": file_name,
        "image": {"width_px": width_px, "height_px": height_px},
        "noise_frac": drawn.noise_frac,
        "drawn_from": asdict(drawn.spec),
        "marks": [mark.to_dict() for mark in drawn.marks],
    }


def write_truth(drawn: DrawnFrame, path: Path, *, file_name: str) -> None:
    """Write the truth about a frame as JSON.

    Raises
    ------
    OutputError
        When the file cannot be written.
    """
    text = json.dumps(truth_dict(drawn, file_name), indent=1, allow_nan=False) + "\n"
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise OutputError(
            f"The truth file could not be written: {fault.strerror or fault}.",
            repair="Choose a folder that exists and can be written to.",
            path=str(path),
        ) from fault
