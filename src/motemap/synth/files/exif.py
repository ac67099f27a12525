"""Exif tags, and whole TIFF heads with an Exif directory inside.

Source of tag numbers and types: CIPA DC-008-2019 (Exif 2.32), sections 4.6.4 and 4.6.5.
"""

from collections.abc import Callable, Sequence
from datetime import datetime

from motemap.synth.files import ifd
from motemap.synth.files.ifd import TagToWrite
from motemap.synth.files.tags import FileTags

EXIF_POINTER = 0x8769
_UM_PER_CM = 1e4
_UNIT_CENTIMETRE = 3
_LARGEST_SHORT = 65535


def base_entries(tags: FileTags) -> list[TagToWrite]:
    """Return the tags that belong in the first directory."""
    entries = []
    if tags.maker is not None:
        entries.append(ifd.text(0x010F, tags.maker))
    if tags.model is not None:
        entries.append(ifd.text(0x0110, tags.model))
    if tags.orientation is not None:
        entries.append(ifd.whole(0x0112, ifd.SHORT, tags.orientation))
    return entries


def exif_entries(tags: FileTags, shape_px: tuple[int, int]) -> list[TagToWrite]:
    """Return the tags of the Exif directory for a picture of `shape_px` (rows, columns)."""
    height_px, width_px = shape_px
    return [
        ifd.raw_bytes(0x9000, ifd.UNDEFINED, b"0232"),
        ifd.whole(0xA002, ifd.LONG, width_px),
        ifd.whole(0xA003, ifd.LONG, height_px),
        *_exposure_entries(tags),
        *_time_entries(tags.taken_at),
        *_focal_plane_entries(tags.focal_plane_pitch_um),
    ]


def _exposure_entries(tags: FileTags) -> list[TagToWrite]:
    makers: list[tuple[Callable[[], TagToWrite], object]] = [
        (lambda: ifd.ratio(0x829A, tags.shutter_s or 0.0), tags.shutter_s),
        (lambda: ifd.ratio(0x829D, tags.f_number or 0.0), tags.f_number),
        (lambda: ifd.whole(0x8827, ifd.SHORT, min(tags.iso or 0, _LARGEST_SHORT)), tags.iso),
        (lambda: ifd.ratio(0x920A, tags.focal_length_mm or 0.0), tags.focal_length_mm),
        (
            lambda: ifd.whole(0xA405, ifd.SHORT, round(tags.focal_length_35mm or 0)),
            tags.focal_length_35mm,
        ),
        (lambda: ifd.text(0xA431, tags.serial or ""), tags.serial),
        (lambda: ifd.text(0xA434, tags.lens or ""), tags.lens),
    ]
    return [make() for make, value in makers if value is not None]


def _time_entries(taken_at: str | None) -> list[TagToWrite]:
    if taken_at is None:
        return []
    moment = datetime.fromisoformat(taken_at)
    entries = [ifd.text(0x9003, moment.strftime("%Y:%m:%d %H:%M:%S"))]
    if moment.microsecond:
        entries.append(ifd.text(0x9291, f"{moment.microsecond:06d}".rstrip("0")))
    if moment.tzinfo is not None:
        zone = moment.strftime("%z")
        entries.append(ifd.text(0x9011, f"{zone[:3]}:{zone[3:5]}"))
    return entries


def _focal_plane_entries(pitch_um: float | None) -> list[TagToWrite]:
    if pitch_um is None:
        return []
    per_cm = _UM_PER_CM / pitch_um
    return [
        ifd.ratio(0xA20E, per_cm),
        ifd.ratio(0xA20F, per_cm),
        ifd.whole(0xA210, ifd.SHORT, _UNIT_CENTIMETRE),
    ]


def pack_head(base: Sequence[TagToWrite], exif: Sequence[TagToWrite]) -> bytes:
    """Return a little-endian TIFF head: header, first directory, Exif directory."""
    pointer_bytes = ifd.directory_bytes([ifd.whole(EXIF_POINTER, ifd.LONG, 0)]) - 6
    exif_at = ifd.HEADER_BYTES + ifd.directory_bytes(base) + pointer_bytes
    full = [*base, ifd.whole(EXIF_POINTER, ifd.LONG, exif_at)]
    return b"".join(
        [
            b"II*\0\x08\0\0\0",
            ifd.pack_directory(full, ifd.HEADER_BYTES),
            ifd.pack_directory(exif, exif_at),
        ]
    )


def head_bytes(base: Sequence[TagToWrite], exif: Sequence[TagToWrite]) -> int:
    """Return the length of what `pack_head` makes of the same entries."""
    return len(pack_head(base, exif))


def exif_block(tags: FileTags, shape_px: tuple[int, int]) -> bytes:
    """Return the Exif block of a picture, without the marker that a JPEG puts before it."""
    return pack_head(base_entries(tags), exif_entries(tags, shape_px))
