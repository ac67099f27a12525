"""Where Exif blocks lie in each kind of file.

Sources: JPEG marker segments, ITU-T T.81 annex B; Exif in JPEG, CIPA DC-008-2019 section
4.5.4; PNG chunks, W3C PNG third edition, section 5; boxes, ISO/IEC 14496-12 section 4.2. Of
raw formats without a published standard the layout is common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, BinaryIO

from motemap.load.exif.directory import read_at, read_directory, read_header, unpack_at

if TYPE_CHECKING:
    from collections.abc import Iterator

PNG_MAGIC = b"\x89PNG\r\n\x1a\n"
JPEG_MAGIC = b"\xff\xd8\xff"
RAF_MAGIC = b"FUJIFILMCCD-RAW"
MRW_MAGIC = b"\0MRM"
BOX_NAME = b"ftyp"
BOX_RAW_BRAND = b"crx "

# Markers of JPEG (ITU-T T.81), chunks of PNG (W3C), boxes of ISO 14496-12, and heads of raw files.
# Files are damaged in every way: no loop through one goes on for longer than `_MOST_...` steps.
_EXIF_MARK = b"Exif\0\0"
_APP1 = 0xE1
_LAST_MARKERS = frozenset((0xDA, 0xD9))
_MARKER_BYTES = 2
_LONE_MARKERS = frozenset((0x01, *range(0xD0, 0xD9)))
_FRAME_MARKERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_FILL = 0xFF
_MOST_SEGMENTS = 65536
_CHUNK_HEAD_BYTES, _CHECKSUM_BYTES = 8, 4
_RAF_OFFSET_AT = 84
_MRW_HEAD_BYTES = 8
_MOST_MRW_BLOCKS = 64
_EMBEDDED_JPEG = 0x002E
_CONTAINER_BOX = b"moov"
_RAW_BOX_ID = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
_BLOCK_BOXES = (b"CMT1", b"CMT2")
_BOX_HEAD_BYTES = 8
_LONG_BOX = 1
_MOST_BOXES = 1024


def exif_blocks(stream: BinaryIO) -> Iterator[int]:
    """Yield the positions at which blocks of tag directories begin, best first."""
    head = read_at(stream, 0, 16)
    if head.startswith(JPEG_MAGIC):
        yield from _jpeg_blocks(stream, 0)
    elif head.startswith(PNG_MAGIC):
        yield from (at for name, at, _ in png_chunks(stream) if name == b"eXIf")
    elif head.startswith(RAF_MAGIC):
        offset = unpack_at(stream, _RAF_OFFSET_AT, ">I")
        yield from _jpeg_blocks(stream, offset[0]) if offset else ()
    elif head.startswith(MRW_MAGIC):
        yield from _mrw_blocks(stream)
    elif head[4:12] == BOX_NAME + BOX_RAW_BRAND:
        yield from _box_blocks(stream)
    else:
        yield 0
        yield from _embedded_jpeg_blocks(stream)


def jpeg_segments(stream: BinaryIO, start_bytes: int) -> Iterator[tuple[int, int, int]]:
    """Yield (marker, position of the payload, its length) up to the picture's data."""
    at = start_bytes + _MARKER_BYTES
    for _ in range(_MOST_SEGMENTS):
        head = unpack_at(stream, at, ">BBH")
        if head is None or head[0] != _FILL or head[1] in _LAST_MARKERS:
            return
        _, marker, n_bytes = head
        if marker == _FILL:
            at += 1
        elif marker in _LONE_MARKERS:
            at += _MARKER_BYTES
        else:
            yield marker, at + 2 * _MARKER_BYTES, n_bytes - _MARKER_BYTES
            at += _MARKER_BYTES + max(n_bytes, _MARKER_BYTES)


def _jpeg_blocks(stream: BinaryIO, start_bytes: int) -> Iterator[int]:
    for marker, at, _ in jpeg_segments(stream, start_bytes):
        if marker == _APP1 and read_at(stream, at, len(_EXIF_MARK)) == _EXIF_MARK:
            yield at + len(_EXIF_MARK)


def jpeg_size(stream: BinaryIO) -> tuple[int, int] | None:
    """Return (height, width) [px] of a JPEG from its frame header."""
    for marker, at, _ in jpeg_segments(stream, 0):
        if marker in _FRAME_MARKERS:
            return unpack_at(stream, at + 1, ">HH")
    return None


def png_chunks(stream: BinaryIO) -> Iterator[tuple[bytes, int, int]]:
    """Yield (name, position of the payload, its length)."""
    at = len(PNG_MAGIC)
    for _ in range(_MOST_SEGMENTS):
        head = unpack_at(stream, at, ">I4s")
        if head is None:
            return
        n_bytes, name = head
        yield name, at + _CHUNK_HEAD_BYTES, n_bytes
        at += _CHUNK_HEAD_BYTES + n_bytes + _CHECKSUM_BYTES


def png_size(stream: BinaryIO) -> tuple[int, int] | None:
    """Return (height, width) [px] of a PNG from its first chunk."""
    sides = unpack_at(stream, len(PNG_MAGIC) + _CHUNK_HEAD_BYTES, ">II")
    return (sides[1], sides[0]) if sides else None


def _embedded_jpeg_blocks(stream: BinaryIO) -> Iterator[int]:
    """Yield the blocks of the full JPEG that some raw formats keep their Exif in."""
    opened = read_header(stream, 0)
    if opened is None:
        return
    place, first = opened
    entry = read_directory(stream, place, first, {_EMBEDDED_JPEG}).get(_EMBEDDED_JPEG)
    if entry is not None and read_at(stream, entry.at_bytes, len(JPEG_MAGIC)) == JPEG_MAGIC:
        yield from _jpeg_blocks(stream, entry.at_bytes)


def _mrw_blocks(stream: BinaryIO) -> Iterator[int]:
    at = _MRW_HEAD_BYTES
    for _ in range(_MOST_MRW_BLOCKS):
        head = unpack_at(stream, at, ">4sI")
        if head is None:
            return
        if head[0] == b"\0TTW":
            yield at + _MRW_HEAD_BYTES
        at += _MRW_HEAD_BYTES + head[1]


def _box_blocks(stream: BinaryIO) -> Iterator[int]:
    for name, at, n_bytes in _boxes(stream, 0, None):
        if name == _CONTAINER_BOX:
            yield from _raw_box_blocks(stream, at, at + n_bytes)


def _raw_box_blocks(stream: BinaryIO, start: int, stop: int) -> Iterator[int]:
    for name, at, n_bytes in _boxes(stream, start, stop):
        if name == b"uuid" and read_at(stream, at, len(_RAW_BOX_ID)) == _RAW_BOX_ID:
            inner = _boxes(stream, at + len(_RAW_BOX_ID), at + n_bytes)
            yield from (block_at for block, block_at, _ in inner if block in _BLOCK_BOXES)


def _boxes(stream: BinaryIO, start: int, stop: int | None) -> Iterator[tuple[bytes, int, int]]:
    """Yield (name, position of the payload, its length) of the boxes in a stretch."""
    at = start
    for _ in range(_MOST_BOXES):
        head = unpack_at(stream, at, ">I4s") if stop is None or at < stop else None
        if head is None:
            return
        n_bytes, name, head_bytes = head[0], head[1], _BOX_HEAD_BYTES
        if n_bytes == _LONG_BOX:
            long = unpack_at(stream, at + _BOX_HEAD_BYTES, ">Q")
            n_bytes, head_bytes = (long[0] if long else 0), 2 * _BOX_HEAD_BYTES
        if n_bytes < head_bytes:
            return
        yield name, at + head_bytes, n_bytes - head_bytes
        at += n_bytes
