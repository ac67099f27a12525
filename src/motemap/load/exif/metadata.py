"""What a file says about camera, exposure and sensor, read without its pixels.

A damaged Exif block means less metadata, never no picture. Source of tag numbers and units:
CIPA DC-008-2019 (Exif 2.32), section 4.6; of the serial in DNG: Adobe, DNG 1.4, chapter 4.
"""

from __future__ import annotations

import math
import struct
from contextlib import suppress
from typing import TYPE_CHECKING, BinaryIO

from motemap.load.exif import cleaning
from motemap.load.exif.blocks import exif_blocks
from motemap.load.exif.directory import read_directory, read_header, read_value
from motemap.load.exif.notes import Notes, maker_notes
from motemap.records import Camera, Exposure, Metadata, SensorHints

if TYPE_CHECKING:
    from motemap.load.exif.directory import TagBlock, Value

# Numbers of tags by Exif 2.32 (CIPA DC-008-2019), of the raw file's own serial by DNG.
MAKER, MODEL, ORIENTATION, DATE_CHANGED = 0x010F, 0x0110, 0x0112, 0x0132
EXIF_POINTER, MAKER_NOTE, RAW_SERIAL = 0x8769, 0x927C, 0xC62F
SHUTTER, F_NUMBER, ISO, ISO_BY_INDEX, ISO_SPEED = 0x829A, 0x829D, 0x8827, 0x8832, 0x8833
SHUTTER_APEX, APERTURE_APEX, FOCAL_LENGTH, FOCAL_LENGTH_35MM = 0x9201, 0x9202, 0x920A, 0xA405
DATE_TAKEN, DATE_DIGITISED, DATE_FRACTION, DATE_ZONE = 0x9003, 0x9004, 0x9291, 0x9011
FULL_WIDTH, FULL_HEIGHT = 0xA002, 0xA003
PLANE_X, PLANE_Y, PLANE_UNIT = 0xA20E, 0xA20F, 0xA210
SERIAL, LENS = 0xA431, 0xA434

_WANTED = frozenset(
    (
        *(MAKER, MODEL, ORIENTATION, DATE_CHANGED, EXIF_POINTER, MAKER_NOTE, RAW_SERIAL),
        *(SHUTTER, F_NUMBER, ISO, ISO_BY_INDEX, ISO_SPEED, SHUTTER_APEX, APERTURE_APEX),
        *(FOCAL_LENGTH, FOCAL_LENGTH_35MM, DATE_TAKEN, DATE_DIGITISED, DATE_FRACTION),
        *(DATE_ZONE, FULL_WIDTH, FULL_HEIGHT, PLANE_X, PLANE_Y, PLANE_UNIT, SERIAL, LENS),
    )
)
_ISO_FULL = 65535
"""Largest number the two bytes of the ISO tag hold; a larger ISO stands in another tag."""
_PITCH_RANGE_UM = (0.3, 100.0)
_MOST_PX = 1_000_000
"""As the ranges of `motemap.load.exif.cleaning`: beyond these lies no camera."""
_LAST_ORIENTATION = 8
_UNITS_UM = {2: 25400.0, 3: 10000.0, 4: 1000.0, 5: 1.0}
"""Units of the focal plane's resolution; Exif has the first two, cameras write the others too."""
_INCH = 2
_SMALLEST_APEX, _LARGEST_APEX = 0.01, 14.0
_LARGEST_OFFSET = 2**32 - 1
"""Offsets in a TIFF have four bytes."""
_FAULTS = (struct.error, ValueError, OverflowError, ZeroDivisionError, OSError)

Tags = dict[int, "Value"]


def exif_metadata(stream: BinaryIO) -> Metadata:
    """Return what the file's Exif blocks say; unknown where they are absent or damaged."""
    tags: Tags = {}
    notes: list[Notes] = []
    with suppress(*_FAULTS):
        for base_bytes in exif_blocks(stream):
            with suppress(*_FAULTS):
                opened = read_header(stream, base_bytes)
                if opened is not None:
                    _gather(stream, opened, tags, notes)
    return Metadata(
        camera=_camera(tags, notes),
        exposure=_exposure(tags, notes),
        hints=_hints(tags),
        exif_orientation=cleaning.count(tags.get(ORIENTATION), _LAST_ORIENTATION),
    )


def _gather(stream: BinaryIO, opened: tuple[TagBlock, int], tags: Tags, notes: list[Notes]) -> None:
    """Add the tags of a block, in whichever directory they are, and what its notes hold."""
    place, first = opened
    entries = read_directory(stream, place, first, _WANTED)
    pointer = entries.pop(EXIF_POINTER, None)
    if pointer is not None:
        offset = cleaning.number(read_value(stream, place, pointer), 1, _LARGEST_OFFSET)
        entries = read_directory(stream, place, int(offset or 0), _WANTED) | entries
    note = entries.pop(MAKER_NOTE, None)
    for tag, entry in entries.items():
        tags.setdefault(tag, read_value(stream, place, entry))
    if note is not None:
        notes.append(maker_notes(stream, place, note, cleaning.text(tags.get(MAKER))))


def _camera(tags: Tags, notes: list[Notes]) -> Camera:
    serials = [cleaning.serial(tags.get(tag)) for tag in (SERIAL, RAW_SERIAL)]
    serials += [note.serial for note in notes]
    return Camera(
        maker=cleaning.text(tags.get(MAKER)),
        model=cleaning.text(tags.get(MODEL)),
        serial=next((serial for serial in serials if serial), None),
        lens=cleaning.text(tags.get(LENS)),
    )


def _exposure(tags: Tags, notes: list[Notes]) -> Exposure:
    """Return how the shot was exposed, by the tags, else by the maker's notes."""
    dates = (
        cleaning.moment(tags.get(tag), tags.get(DATE_FRACTION), tags.get(DATE_ZONE))
        for tag in (DATE_TAKEN, DATE_DIGITISED, DATE_CHANGED)
    )
    return Exposure(
        f_number=_f_number(tags),
        iso=_iso(tags) or next((note.iso for note in notes if note.iso), None),
        shutter_s=_shutter_s(tags),
        focal_length_mm=cleaning.number(tags.get(FOCAL_LENGTH), *cleaning.FOCAL_RANGE_MM),
        taken_at=next((date for date in dates if date), None),
    )


def _f_number(tags: Tags) -> float | None:
    """Return FNumber; ApertureValue only where there is none, for it is 0 with a manual lens."""
    if F_NUMBER in tags:
        return cleaning.number(tags[F_NUMBER], *cleaning.F_RANGE)
    stops = cleaning.number(tags.get(APERTURE_APEX), _SMALLEST_APEX, _LARGEST_APEX)
    return None if stops is None else round(math.sqrt(2.0**stops), 1)


def _iso(tags: Tags) -> float | None:
    """Return the sensitivity; the short tag says 65535 when it cannot hold the number."""
    iso = cleaning.number(tags.get(ISO), *cleaning.ISO_RANGE)
    if iso is not None and iso < _ISO_FULL:
        return iso
    longer = (
        cleaning.number(tags.get(tag), *cleaning.ISO_RANGE) for tag in (ISO_BY_INDEX, ISO_SPEED)
    )
    return next((value for value in longer if value), iso)


def _shutter_s(tags: Tags) -> float | None:
    if SHUTTER in tags:
        return cleaning.number(tags[SHUTTER], *cleaning.SHUTTER_RANGE_S)
    stops = cleaning.number(tags.get(SHUTTER_APEX), -_LARGEST_APEX, _LARGEST_APEX)
    return None if stops is None else 2.0**-stops


def _hints(tags: Tags) -> SensorHints:
    """Return what the tags say of the sensor's size."""
    unit_um = _UNITS_UM.get(int(cleaning.number(tags.get(PLANE_UNIT), 1, 5) or _INCH))
    return SensorHints(
        focal_plane_pitch_um=_pitch_um(tags.get(PLANE_X), unit_um),
        focal_plane_pitch_y_um=_pitch_um(tags.get(PLANE_Y), unit_um),
        focal_plane_width_px=cleaning.count(tags.get(FULL_WIDTH), _MOST_PX),
        focal_plane_height_px=cleaning.count(tags.get(FULL_HEIGHT), _MOST_PX),
        focal_length_35mm=cleaning.number(
            tags.get(FOCAL_LENGTH_35MM), 1.0, cleaning.FOCAL_RANGE_MM[1]
        ),
    )


def _pitch_um(value: Value | None, unit_um: float | None) -> float | None:
    per_unit = cleaning.number(value, 1e-3, 1e9)
    if per_unit is None or unit_um is None:
        return None
    return cleaning.number((unit_um / per_unit,), *_PITCH_RANGE_UM)
