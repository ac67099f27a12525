"""Tag directories as TIFF 6.0 lays them out, read entry by entry from anywhere in a file.

Only what is asked for is read, counts are capped, and nothing that a damaged file says can
make the reader loop or allocate much: a fault leaves tags out.

Source of the layout: Adobe, TIFF Revision 6.0 (1992), section 2.
"""

from __future__ import annotations

import struct
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
    from collections.abc import Collection

Value = tuple[float, ...] | bytes
"""Numbers, or text and other bytes as they are."""

MAGICS = (b"II*\0", b"MM\0*", b"IIU\0", b"IIRO", b"IIRS", b"MMOR")
"""How files begin that hold directories: TIFF, and raw files that vary it."""

# The shape of a directory, and its kinds of values, by TIFF 6.0 (section 2).
_MAGIC_BYTES = 4
_ENTRY_BYTES = 12
_MOST_ENTRIES = 4096
"""What claims to hold more is damaged."""
_COUNT_BYTES = 2
_INLINE_BYTES = 4
_INLINE_AT = 8
_MOST_VALUES = 1024
"""No tag that is wanted has more values; more are not read."""
_BYTES_KINDS = frozenset((1, 2, 6, 7))
_FRACTION_KINDS = frozenset((5, 10))
_NUMBER_LETTERS = {3: "H", 4: "I", 5: "I", 8: "h", 9: "i", 10: "i", 11: "f", 12: "d", 13: "I"}
_VALUE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class TagBlock:
    """Where directories of one block count from, and in which byte order they are.

    Parameters
    ----------
    base_bytes : int
        Position in the file that offsets count from.
    order : {"<", ">"}
        Byte order, as `struct` writes it.
    """

    base_bytes: int
    order: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredTag:
    """One tag: its type, how many values, and where they lie, counted from the block's base."""

    kind: int
    n_values: int
    at_bytes: int


def read_at(stream: BinaryIO, at_bytes: int, n_bytes: int) -> bytes:
    """Return up to `n_bytes` bytes at a position; fewer, or none, where the file ends."""
    if not 0 <= at_bytes <= sys.maxsize or n_bytes <= 0:
        return b""
    stream.seek(at_bytes)
    return stream.read(n_bytes)


def unpack_at(stream: BinaryIO, at_bytes: int, layout: str) -> tuple[Any, ...] | None:
    """Return the numbers at a position, as `struct` reads them; None where the file ends."""
    payload = read_at(stream, at_bytes, struct.calcsize(layout))
    return struct.unpack(layout, payload) if len(payload) == struct.calcsize(layout) else None


def read_header(stream: BinaryIO, base_bytes: int) -> tuple[TagBlock, int] | None:
    """Return the place and the offset of the first directory, None if no block starts here."""
    magic = read_at(stream, base_bytes, _MAGIC_BYTES)
    if magic not in MAGICS:
        return None
    place = TagBlock(base_bytes=base_bytes, order="<" if magic.startswith(b"II") else ">")
    first = unpack_at(stream, base_bytes + _MAGIC_BYTES, f"{place.order}I")
    return (place, first[0]) if first else None


def read_directory(
    stream: BinaryIO, place: TagBlock, offset_bytes: int, wanted: Collection[int]
) -> dict[int, StoredTag]:
    """Return the wanted tags of one directory; the first counts where one stands twice."""
    start = place.base_bytes + offset_bytes
    count = unpack_at(stream, start, f"{place.order}H")
    n_entries = min(count[0], _MOST_ENTRIES) if count else 0
    table = read_at(stream, start + _COUNT_BYTES, n_entries * _ENTRY_BYTES)
    found: dict[int, StoredTag] = {}
    for at in range(0, len(table) - _ENTRY_BYTES + 1, _ENTRY_BYTES):
        tag, kind, n_values = struct.unpack_from(f"{place.order}HHI", table, at)
        if tag not in wanted or tag in found or kind not in _VALUE_BYTES:
            continue
        value_at = offset_bytes + _COUNT_BYTES + at + _ENTRY_BYTES - _INLINE_BYTES
        if n_values * _VALUE_BYTES[kind] > _INLINE_BYTES:
            value_at = struct.unpack_from(f"{place.order}I", table, at + _INLINE_AT)[0]
        found[tag] = StoredTag(kind=kind, n_values=n_values, at_bytes=value_at)
    return found


def read_numbers(
    stream: BinaryIO, place: TagBlock, offset_bytes: int, tag: int
) -> tuple[float, ...]:
    """Return the numbers of one tag of a directory; none where it is not there or holds text."""
    entry = read_directory(stream, place, offset_bytes, {tag}).get(tag)
    value = read_value(stream, place, entry) if entry is not None else ()
    return value if isinstance(value, tuple) else ()


def read_value(stream: BinaryIO, place: TagBlock, entry: StoredTag) -> Value:
    """Return a tag's value; fractions without a denominator are left out."""
    n_values = min(entry.n_values, _MOST_VALUES)
    step = _VALUE_BYTES[entry.kind]
    payload = read_at(stream, place.base_bytes + entry.at_bytes, n_values * step)
    if entry.kind in _BYTES_KINDS:
        return payload
    letter = _NUMBER_LETTERS[entry.kind]
    size = struct.calcsize(f"={letter}")
    numbers = struct.unpack_from(f"{place.order}{len(payload) // size}{letter}", payload)
    if entry.kind not in _FRACTION_KINDS:
        return numbers
    pairs = zip(numbers[::2], numbers[1::2], strict=False)
    return tuple(upper / lower for upper, lower in pairs if lower)
