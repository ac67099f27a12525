"""What only the maker's own notes hold: body serial numbers, and sensitivity.

The layouts are common practice, no source: makers do not publish them. Only plain directories
are read; encrypted notes are not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO

from motemap.load.exif import cleaning
from motemap.load.exif.directory import (
    TagBlock,
    read_at,
    read_directory,
    read_header,
    read_numbers,
    read_value,
)

if TYPE_CHECKING:
    from motemap.load.exif.directory import StoredTag

_SIGNATURE_BYTES = 16
_ORDER_BYTES = 2
_ORDERS = {b"II": "<", b"MM": ">"}
_EQUIPMENT, _EQUIPMENT_SERIAL = 0x2010, 0x0101
_POINTER_KINDS = frozenset((4, 13))


@dataclass(frozen=True, slots=True, kw_only=True)
class _NoteLayout:
    """How one maker's notes are built.

    Parameters
    ----------
    signature : bytes
        How they begin.
    directory_at : int
        Where their directory lies, from their beginning.
    tags : tuple of int
        Which tags hold the serial, best first.
    order_at : int or None
        Where the byte order stands; None for that of the block round them.
    is_relative : bool
        Whether offsets count from the beginning of the notes.
    maker : str
        How the maker's name must begin, for notes without a signature.
    """

    signature: bytes
    directory_at: int
    tags: tuple[int, ...]
    order_at: int | None = None
    is_relative: bool = False
    maker: str = ""


_LAYOUTS = (
    _NoteLayout(
        signature=b"OLYMPUS\0", directory_at=12, tags=(0x0404,), order_at=8, is_relative=True
    ),
    _NoteLayout(
        signature=b"OM SYSTEM\0", directory_at=16, tags=(0x0404,), order_at=12, is_relative=True
    ),
    _NoteLayout(signature=b"OLYMP\0", directory_at=8, tags=(0x0404,)),
    _NoteLayout(
        signature=b"PENTAX \0", directory_at=10, tags=(0x0229,), order_at=8, is_relative=True
    ),
    _NoteLayout(signature=b"AOC\0", directory_at=6, tags=(0x0229,), order_at=4),
    _NoteLayout(signature=b"Panasonic\0", directory_at=12, tags=(0x0025,)),
    _NoteLayout(signature=b"SIGMA\0", directory_at=10, tags=(0x0002,)),
    _NoteLayout(signature=b"FOVEON\0", directory_at=10, tags=(0x0002,)),
    _NoteLayout(signature=b"", directory_at=0, tags=(0x000C,), maker="canon"),
)
_HEADED_SIGNATURE, _HEADER_AT, _HEADED_TAGS = b"Nikon\0\x02", 10, (0x001D, 0x00A0)
_HEADED_ISO = 0x0002
_LITTLE_SIGNATURE, _LITTLE_AT, _LITTLE_TAGS = b"FUJIFILM", 12, (0x0010,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notes:
    """What was found in plain; None where the notes do not say."""

    serial: str | None = None
    iso: float | None = None


def maker_notes(stream: BinaryIO, place: TagBlock, note: StoredTag, maker: str | None) -> Notes:
    """Read a maker's notes as far as they are plain.

    Parameters
    ----------
    stream : BinaryIO
        The file.
    place : TagBlock
        The block that the notes belong to.
    note : StoredTag
        The MakerNote tag.
    maker : str or None
        The maker's name, for notes that do not begin with one.
    """
    note_at = place.base_bytes + note.at_bytes
    begin = read_at(stream, note_at, _SIGNATURE_BYTES)
    if begin.startswith(_HEADED_SIGNATURE):
        inner = read_header(stream, note_at + _HEADER_AT)
        return _headed_notes(stream, *inner) if inner else Notes()
    if begin.startswith(_LITTLE_SIGNATURE):
        little = TagBlock(base_bytes=note_at, order="<")
        return Notes(serial=_first_serial(stream, little, _LITTLE_AT, _LITTLE_TAGS))
    for layout in _LAYOUTS:
        if begin.startswith(layout.signature) and (maker or "").lower().startswith(layout.maker):
            return Notes(serial=_serial_by(layout, stream, place, note))
    return Notes()


def _headed_notes(stream: BinaryIO, place: TagBlock, directory_at: int) -> Notes:
    """Read notes that are a whole block; their sensitivity is the second of two numbers."""
    pair = read_numbers(stream, place, directory_at, _HEADED_ISO)
    return Notes(
        serial=_first_serial(stream, place, directory_at, _HEADED_TAGS),
        iso=cleaning.number(pair[1:], *cleaning.ISO_RANGE),
    )


def _serial_by(
    layout: _NoteLayout, stream: BinaryIO, place: TagBlock, note: StoredTag
) -> str | None:
    """Return the body's serial number where a layout says it is; None when it is not there."""
    note_at = place.base_bytes + note.at_bytes
    order = place.order
    if layout.order_at is not None:
        mark = read_at(stream, note_at + layout.order_at, _ORDER_BYTES)
        order = _ORDERS.get(mark, order)
    base_bytes = note_at if layout.is_relative else place.base_bytes
    inner = TagBlock(base_bytes=base_bytes, order=order)
    directory_at = note_at + layout.directory_at - base_bytes
    return _first_serial(stream, inner, directory_at, layout.tags)


def _first_serial(
    stream: BinaryIO, place: TagBlock, directory_at: int, tags: tuple[int, ...]
) -> str | None:
    """Return the first serial of a directory, also from the one it may hold for the body."""
    found = read_directory(stream, place, directory_at, {*tags, _EQUIPMENT})
    if _EQUIPMENT in found:
        entry = found.pop(_EQUIPMENT)
        value = read_value(stream, place, entry) if entry.kind in _POINTER_KINDS else ()
        nested_at = int(value[0]) if isinstance(value, tuple) and value else entry.at_bytes
        nested = read_directory(stream, place, nested_at, {_EQUIPMENT_SERIAL})
        found = nested | found
    values = (cleaning.serial(read_value(stream, place, entry)) for entry in found.values())
    return next((value for value in values if value), None)
