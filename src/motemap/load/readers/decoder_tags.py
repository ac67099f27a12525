"""Metadata that the raw decoder knows, for files whose Exif cannot be found."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from motemap.load.exif import cleaning

if TYPE_CHECKING:
    from collections.abc import Mapping

    from motemap.records import Camera, Exposure, Metadata

_ORIENTATION_OF_FLIP = {1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
"""Exif orientation of LibRaw's own rotation code; 0 is also said when nothing is known."""

_FIRST_YEAR = 1971
"""Earlier times are the decoder's 0 in some time zone."""
_FIELDS: Mapping[str, tuple[str, tuple[float, float]]] = {
    "f_number": ("aperture", cleaning.F_RANGE),
    "iso": ("iso_speed", cleaning.ISO_RANGE),
    "shutter_s": ("shutter_speed", cleaning.SHUTTER_RANGE_S),
    "focal_length_mm": ("focal_length", cleaning.FOCAL_RANGE_MM),
}
"""What the decoder calls it, and between which bounds it is believed."""


def with_decoder_tags(metadata: Metadata, raw: Any) -> Metadata:
    """Return `metadata` with its gaps filled from an open raw file.

    The decoder says 0 and the year 1970 for what it does not know.
    """
    return replace(
        metadata,
        camera=_camera(metadata.camera, getattr(raw, "lens", None)),
        exposure=_exposure(metadata.exposure, getattr(raw, "other", None)),
        exif_orientation=metadata.exif_orientation or _ORIENTATION_OF_FLIP.get(raw.sizes.flip),
    )


def _camera(camera: Camera, lens: Any) -> Camera:
    model = getattr(lens, "model", None)
    name = model.encode() if isinstance(model, str) else model
    return replace(camera, lens=camera.lens or cleaning.text(name))


def _exposure(exposure: Exposure, other: Any) -> Exposure:
    """Fill gaps of an exposure by what the decoder says, within bounds."""
    found = {
        name: getattr(exposure, name)
        or cleaning.number((float(getattr(other, source, 0.0)),), *bounds)
        for name, (source, bounds) in _FIELDS.items()
    }
    taken = getattr(other, "timestamp", None)
    is_known = isinstance(taken, datetime) and taken.year >= _FIRST_YEAR
    taken_at = exposure.taken_at or (taken.isoformat() if taken and is_known else None)
    return replace(exposure, taken_at=taken_at, **found)
