"""Tag directories as TIFF 6.0 lays them out, little-endian, written by hand.

Source of the layout: Adobe, TIFF Revision 6.0 (1992), section 2.
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10
HEADER_BYTES = 8
_ENTRY_BYTES = 12
_INLINE_BYTES = 4
_LARGEST_DENOMINATOR = 100_000

_FORMATS = {SHORT: "H", LONG: "I"}


@dataclass(frozen=True, slots=True, kw_only=True)
class TagToWrite:
    """One tag: its number, its type, how many values, and the values as bytes."""

    tag: int
    kind: int
    n_values: int
    payload: bytes

    @property
    def spill_bytes(self) -> int:
        """Bytes kept outside the directory, padded to a whole word."""
        n_bytes = len(self.payload)
        return 0 if n_bytes <= _INLINE_BYTES else n_bytes + n_bytes % 2


def whole(tag: int, kind: int, *values: int) -> TagToWrite:
    """Return an entry of SHORT or LONG values."""
    payload = struct.pack(f"<{len(values)}{_FORMATS[kind]}", *values)
    return TagToWrite(tag=tag, kind=kind, n_values=len(values), payload=payload)


def raw_bytes(tag: int, kind: int, payload: bytes) -> TagToWrite:
    """Return an entry of BYTE or UNDEFINED values."""
    return TagToWrite(tag=tag, kind=kind, n_values=len(payload), payload=payload)


def text(tag: int, value: str) -> TagToWrite:
    """Return an entry of text, closed by the NUL that the format asks for."""
    payload = value.encode("utf-8") + b"\0"
    return TagToWrite(tag=tag, kind=ASCII, n_values=len(payload), payload=payload)


def ratio(tag: int, *values: float, signed: bool = False) -> TagToWrite:
    """Return an entry of fractions, each to the nearest with a small denominator."""
    parts: list[int] = []
    for value in values:
        fraction = Fraction(value).limit_denominator(_LARGEST_DENOMINATOR)
        parts += [fraction.numerator, fraction.denominator]
    payload = struct.pack(f"<{len(parts)}{'i' if signed else 'I'}", *parts)
    kind = SRATIONAL if signed else RATIONAL
    return TagToWrite(tag=tag, kind=kind, n_values=len(values), payload=payload)


def directory_bytes(entries: Sequence[TagToWrite]) -> int:
    """Return the length of a packed directory with everything it keeps outside."""
    return 2 + _ENTRY_BYTES * len(entries) + 4 + sum(entry.spill_bytes for entry in entries)


def pack_directory(entries: Sequence[TagToWrite], offset_bytes: int) -> bytes:
    """Return a directory as it stands in the file at `offset_bytes`, tags in order."""
    ordered = sorted(entries, key=lambda entry: entry.tag)
    table = [struct.pack("<H", len(ordered))]
    spill: list[bytes] = []
    spill_at = offset_bytes + 2 + _ENTRY_BYTES * len(ordered) + 4
    for entry in ordered:
        if entry.spill_bytes:
            value = struct.pack("<I", spill_at)
            spill.append(entry.payload.ljust(entry.spill_bytes, b"\0"))
            spill_at += entry.spill_bytes
        else:
            value = entry.payload.ljust(_INLINE_BYTES, b"\0")
        table.append(struct.pack("<HHI", entry.tag, entry.kind, entry.n_values) + value)
    return b"".join([*table, struct.pack("<I", 0), *spill])
