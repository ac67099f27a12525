"""Exif blocks written by hand, row by row."""

import io
import struct
from typing import BinaryIO

Row = tuple[int, int, int, bytes]


def directory(rows: list[Row], start: int, order: str) -> bytes:
    """Pack rows of (tag, type, count, value), long values after the table."""
    table, spill = struct.pack(f"{order}H", len(rows)), b""
    spill_at = start + 2 + 12 * len(rows) + 4
    for tag, kind, n_values, value in rows:
        if len(value) <= 4:
            cell = value.ljust(4, b"\0")
        else:
            cell = struct.pack(f"{order}I", spill_at + len(spill))
            spill += value
        table += struct.pack(f"{order}HHI", tag, kind, n_values) + cell
    return table + bytes(4) + spill


def block(base: list[Row], exif: list[Row] | None = None, order: str = "<") -> BinaryIO:
    magic = b"II*\0" if order == "<" else b"MM\0*"
    head = magic + struct.pack(f"{order}I", 8)
    if exif is None:
        return io.BytesIO(head + directory(base, 8, order))
    exif_at = 8 + len(directory([*base, (0x8769, 4, 1, bytes(4))], 8, order))
    pointer = (0x8769, 4, 1, struct.pack(f"{order}I", exif_at))
    return io.BytesIO(
        head + directory([*base, pointer], 8, order) + directory(exif, exif_at, order)
    )


def fraction(tag: int, upper: int, lower: int, order: str = "<") -> Row:
    return tag, 5, 1, struct.pack(f"{order}II", upper, lower)


def short(tag: int, *values: int, order: str = "<") -> Row:
    return tag, 3, len(values), struct.pack(f"{order}{len(values)}H", *values)


def words(tag: int, said: bytes) -> Row:
    return tag, 2, len(said), said
