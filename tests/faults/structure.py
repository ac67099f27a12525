"""Where the fields of a picture file lie, so that each can be forged: no more than that needs.

Written apart from the reader under test, and for whole files only.
"""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

_ENTRY_BYTES = 12
_DIRECTORY_TAGS = (0x8769, 0x014A)
_SCAN, _END = 0xDA, 0xD9
_EXIF = b"Exif\0\0"


class TagPlace(NamedTuple):
    """One entry of a TIFF directory: where it stands, where offsets count from, byte order."""

    at: int
    base: int
    order: str


class Segment(NamedTuple):
    """One marker segment of a JPEG, from its FF to the end of its payload."""

    marker: int
    start: int
    stop: int


class Chunk(NamedTuple):
    """One chunk of a PNG, from its length to the end of its checksum."""

    name: bytes
    start: int
    stop: int


def tag_places(content: bytes, base: int = 0) -> Iterator[TagPlace]:
    """Yield the entries of all directories of a TIFF structure that begins at `base`."""
    order = "<" if content[base : base + 2] == b"II" else ">"
    if struct.unpack_from(f"{order}H", content, base + 2)[0] != 42:
        return
    waiting = [struct.unpack_from(f"{order}I", content, base + 4)[0]]
    while waiting:
        start = base + waiting.pop()
        (n_entries,) = struct.unpack_from(f"{order}H", content, start)
        for number in range(n_entries):
            at = start + 2 + number * _ENTRY_BYTES
            yield TagPlace(at=at, base=base, order=order)
            tag, _, n_values, value = struct.unpack_from(f"{order}HHII", content, at)
            if tag in _DIRECTORY_TAGS and n_values == 1:
                waiting.append(value)


def segments(content: bytes) -> Iterator[Segment]:
    """Yield the segments of a JPEG up to its first scan, that one's header included."""
    at = 2
    while content[at + 1] != _END:
        (n_bytes,) = struct.unpack_from(">H", content, at + 2)
        yield Segment(marker=content[at + 1], start=at, stop=at + 2 + n_bytes)
        if content[at + 1] == _SCAN:
            return
        at += 2 + n_bytes


def chunks(content: bytes) -> Iterator[Chunk]:
    """Yield the chunks of a PNG."""
    at = 8
    while at < len(content):
        n_bytes, name = struct.unpack_from(">I4s", content, at)
        yield Chunk(name=name, start=at, stop=at + 12 + n_bytes)
        at += 12 + n_bytes


def exif_start(content: bytes) -> int | None:
    """Return where the TIFF structure of a picture's metadata begins, None when it has none."""
    if content[:2] in (b"II", b"MM"):
        return 0
    if content.startswith(b"\x89PNG"):
        found = (chunk.start + 8 for chunk in chunks(content) if chunk.name == b"eXIf")
        return next(found, None)
    at = content.find(_EXIF)
    return None if at < 0 else at + len(_EXIF)


def with_checksums(content: bytes) -> bytes:
    """Return a PNG with right checksums: else damage would never get past them."""
    if not content.startswith(b"\x89PNG"):
        return content
    whole = bytearray(content)
    at = 8
    while at + 12 <= len(whole):
        (n_bytes,) = struct.unpack_from(">I", whole, at)
        stop = at + 8 + n_bytes
        if stop + 4 > len(whole):
            break
        struct.pack_into(">I", whole, stop, zlib.crc32(whole[at + 4 : stop]))
        at = stop + 4
    return bytes(whole)
