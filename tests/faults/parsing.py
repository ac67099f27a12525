"""Everything of our own that takes apart bytes or words from outside, behind one call.

What libraries take apart is not here; `hunt.py` and the mutation tests go through them.
"""

from __future__ import annotations

import io
import struct
import unicodedata
from contextlib import suppress
from typing import TYPE_CHECKING, Final

import click
import numpy as np

from motemap.cli import options
from motemap.errors import LoadError, SettingsError
from motemap.load.exif.blocks import jpeg_segments, jpeg_size, png_chunks, png_size
from motemap.load.exif.metadata import exif_metadata
from motemap.load.kinds import has_all_colours, identify, is_picture, readable_kind
from motemap.load.readers.curves import profile_curve
from motemap.load.readers.scans import refuse_many_scans
from motemap.place import find_hold
from motemap.report.plain import FORMAT_CHARACTERS, encodable, printable
from motemap.sensor.size import parse_wish

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

NAMES: Final = ("a.dng", "a.jpg", "a.png", "a.tif", "a.nef", "a", "a.cr3")


def _files(content: bytes) -> None:
    stream = io.BytesIO(content)
    for name in NAMES:
        identify(content, name)
        is_picture(content, name)
        with suppress(LoadError):
            readable_kind(stream, name)
    metadata = exif_metadata(stream)
    for text in (metadata.camera.maker, metadata.camera.serial, metadata.exposure.taken_at):
        assert text is None or text.isprintable()
    for value in (metadata.exposure.f_number, metadata.exposure.iso, metadata.exposure.shutter_s):
        assert value is None or 0 < value < 1e9
    has_all_colours(stream)


def _structures(content: bytes) -> None:
    stream = io.BytesIO(content)
    jpeg_size(stream)
    png_size(stream)
    assert len(list(jpeg_segments(stream, 0))) <= len(content) + 1
    assert len(list(png_chunks(stream))) <= len(content) + 1
    with suppress(LoadError):
        refuse_many_scans(content)


def _curves(content: bytes) -> None:
    curve = profile_curve(content)
    if curve is not None:
        with np.errstate(all="ignore"):
            light = curve(np.linspace(0.0, 1.0, 256))
        assert np.isfinite(light).all()
        assert (np.diff(light) >= 0).all()


def _words(content: bytes) -> None:
    text = content.decode("utf-8", "surrogateescape")
    readers: tuple[Callable[[str], object], ...] = (
        options.f_number,
        options.f_numbers,
        options.percentage,
        options.methods,
        parse_wish,
        find_hold,
    )
    for read in readers:
        with suppress(click.BadParameter, SettingsError):
            read(text)
    encodable(text).encode("utf-8")
    kinds = {unicodedata.category(letter) for letter in printable(text)}
    assert not kinds & FORMAT_CHARACTERS


PARSERS: Final[tuple[Callable[[bytes], None], ...]] = (_files, _structures, _curves, _words)


def try_bytes(chosen: bytes) -> None:
    """Take bytes apart; the first one says by which parser. No error may come out."""
    if chosen:
        PARSERS[chosen[0] % len(PARSERS)](chosen[1:])


def seeds() -> Iterator[bytes]:
    """Yield whole structures to begin with, one for each way that the parsers know."""
    block = _directory()
    jpeg = b"\xff\xd8\xff\xe1" + struct.pack(">H", len(block) + 8) + b"Exif\0\0" + block
    frame = b"\xff\xc0\0\x0b\x08\0\x40\0\x5c\x01\x01\x11\0\xff\xd9"
    raw_box = _box(
        b"uuid", bytes.fromhex("85c0b687820f11e08111f4ce462b6a48") + _box(b"CMT1", block)
    )
    files = (
        block,
        block.replace(b"II*\0", b"IIRO"),
        jpeg + frame,
        b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", bytes(13)) + _chunk(b"eXIf", block),
        b"FUJIFILMCCD-RAW ".ljust(84, b"\0") + struct.pack(">I", 92) + bytes(4) + jpeg + frame,
        b"\0MRM" + struct.pack(">I", 99) + b"\0TTW" + struct.pack(">I", len(block)) + block,
        _box(b"ftyp", b"crx " + bytes(12)) + _box(b"moov", raw_box),
    )
    for content in files:
        yield b"\0" + content
        yield b"\1" + content
    yield from (b"\2" + profile for profile in _profiles())
    words = ("f/5.6", "2%", "blower,wet", "36x24", "full frame", "upside-down", "caf\udce9")
    yield from (b"\3" + word.encode("utf-8", "surrogateescape") for word in words)


def _directory() -> bytes:
    """Return a little-endian block with a directory, one for the exposure, and notes."""
    entries = [
        (0x010F, 2, 8, 0xA0),
        (0x0112, 3, 1, 1),
        (0x8769, 4, 1, 0x50),
        (0x014A, 4, 1, 0x50),
    ]
    inner = [
        (0x829D, 5, 1, 0xA8),
        (0x8827, 3, 1, 100),
        (0x9003, 2, 20, 0xB0),
        (0x927C, 7, 40, 0xC8),
        (0xA431, 2, 8, 0xA0),
    ]
    first = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *e) for e in entries)
    second = struct.pack("<H", len(inner)) + b"".join(struct.pack("<HHII", *e) for e in inner)
    block = b"II*\0" + struct.pack("<I", 8) + first + bytes(4)
    block = block.ljust(0x50, b"\0") + second + bytes(4)
    block = block.ljust(0xA0, b"\0") + b"Ratal 3\0" + struct.pack("<II", 22, 1)
    block = block.ljust(0xB0, b"\0") + b"2025:03:14 09:26:53\0"
    notes = b"OLYMPUS\0II\3\0" + struct.pack("<HHHII", 1, 0x0404, 2, 4, 0x31323334)
    return block.ljust(0xC8, b"\0") + notes.ljust(40, b"\0")


def _box(name: bytes, payload: bytes) -> bytes:
    return struct.pack(">I", len(payload) + 8) + name + payload


def _chunk(name: bytes, payload: bytes) -> bytes:
    return struct.pack(">I", len(payload)) + name + payload + bytes(4)


def _profiles() -> Iterator[bytes]:
    curves = (
        b"curv" + bytes(4) + struct.pack(">IH", 1, 563),
        b"curv" + bytes(4) + struct.pack(">I5H", 5, 0, 9000, 20000, 40000, 65535),
        b"para" + bytes(4) + struct.pack(">HH", 3, 0) + struct.pack(">5i", *[65536] * 5),
    )
    for curve in curves:
        tag = struct.pack(">I4sII", 1, b"rTRC", 144, len(curve))
        yield bytes(128) + tag + curve
