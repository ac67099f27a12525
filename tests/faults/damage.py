"""Ways to spoil a picture file: at random, and field by field."""

from __future__ import annotations

import struct
from itertools import product
from typing import TYPE_CHECKING, NamedTuple

from faults.structure import chunks, exif_start, segments, tag_places, with_checksums

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy as np

HEAD_BYTES = 900
"""Where the structure of the small samples lies."""

LONGS = (0, 1, 2, 255, 65535, 65536, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
"""Numbers at which counting goes wrong."""

SHORTS = (0, 1, 2, 7, 255, 32767, 32768, 65535)
KINDS = (0, 1, 2, 3, 4, 5, 7, 8, 10, 11, 12, 13, 16, 99, 65535)
"""Types of TIFF values, known and unknown."""

SIDES = (0, 1, 15, 30000, 65500, 0x7FFFFFFF)
_SHARE_IN_HEAD = 0.7


class Damaged(NamedTuple):
    """A spoilt file and what was done to it."""

    what: str
    content: bytes


def damaged(content: bytes, rng: np.random.Generator) -> Damaged:
    """Spoil a file at a random place in a random way; most of it where the structure lies."""
    span = len(content)
    if rng.random() < _SHARE_IN_HEAD:
        span = min(span, HEAD_BYTES)
    at = int(rng.integers(0, span))
    way = WAYS[int(rng.integers(0, len(WAYS)))]
    spoiled = bytearray(content)
    way(spoiled, at, span, rng)
    keeps_checksums = bool(rng.random() < 0.5)
    whole = bytes(spoiled) if keeps_checksums else with_checksums(bytes(spoiled))
    return Damaged(what=f"{way.__name__.strip('_')} at {at}", content=whole)


def _cut(spoiled: bytearray, at: int, _span: int, _rng: np.random.Generator) -> None:
    del spoiled[at:]


def _flip(spoiled: bytearray, _at: int, span: int, rng: np.random.Generator) -> None:
    for place in rng.integers(0, span, int(rng.integers(1, 9))):
        spoiled[int(place)] ^= 1 << int(rng.integers(0, 8))


def _forge(spoiled: bytearray, at: int, _span: int, rng: np.random.Generator) -> None:
    order = "<>"[int(rng.integers(0, 2))]
    value = LONGS[int(rng.integers(0, len(LONGS)))]
    spoiled[at : at + 4] = struct.pack(f"{order}I", value)


def _repeat(spoiled: bytearray, at: int, _span: int, rng: np.random.Generator) -> None:
    n_bytes = int(rng.integers(1, 200))
    spoiled[at:at] = spoiled[at : at + n_bytes] * int(rng.integers(1, 5))


def _leave_out(spoiled: bytearray, at: int, _span: int, rng: np.random.Generator) -> None:
    del spoiled[at : at + int(rng.integers(1, 40))]


def _overwrite(spoiled: bytearray, at: int, _span: int, rng: np.random.Generator) -> None:
    n_bytes = int(rng.integers(1, 80))
    spoiled[at : at + n_bytes] = rng.bytes(n_bytes)


def _empty(spoiled: bytearray, at: int, _span: int, rng: np.random.Generator) -> None:
    n_bytes = min(int(rng.integers(1, 400)), len(spoiled) - at)
    spoiled[at : at + n_bytes] = bytes([int(rng.integers(0, 2)) * 255]) * n_bytes


WAYS: tuple[Callable[[bytearray, int, int, np.random.Generator], None], ...] = (
    _cut,
    _flip,
    _forge,
    _repeat,
    _leave_out,
    _overwrite,
    _empty,
)


def forged(content: bytes) -> Iterator[Damaged]:
    """Yield the file with each of its fields forged in turn, in an order that is always the same."""
    base = exif_start(content)
    if base is not None:
        yield from (_checked(each) for each in _forged_tags(content, base))
    if content.startswith(b"\xff\xd8"):
        yield from _forged_segments(content)
    elif content.startswith(b"\x89PNG"):
        yield from _forged_chunks(content)
    elif content[2:4] in (b"+\0", b"\0+"):
        yield from _forged_words(content)


def _checked(each: Damaged) -> Damaged:
    return each._replace(content=with_checksums(each.content))


def _put(content: bytes, at: int, layout: str, *values: int) -> bytes:
    spoiled = bytearray(content)
    struct.pack_into(layout, spoiled, at, *values)
    return bytes(spoiled)


def _forged_tags(content: bytes, base: int) -> Iterator[Damaged]:
    for place in tag_places(content, base):
        tag, _, _, value = struct.unpack_from(f"{place.order}HHII", content, place.at)
        here = place.at - base
        n_left = len(content) - base
        for kind in KINDS:
            spoiled = _put(content, place.at + 2, f"{place.order}H", kind)
            yield Damaged(f"tag {tag:#06x} of type {kind}", spoiled)
        for count in LONGS:
            spoiled = _put(content, place.at + 4, f"{place.order}I", count)
            yield Damaged(f"tag {tag:#06x} with {count} values", spoiled)
        for number in (*LONGS, n_left, n_left - 1, here, value + 1, max(value - 1, 0)):
            spoiled = _put(content, place.at + 8, f"{place.order}I", number)
            yield Damaged(f"tag {tag:#06x} with value or offset {number}", spoiled)
        for number in SHORTS:
            spoiled = _put(content, place.at + 8, f"{place.order}HH", number, 0)
            yield Damaged(f"tag {tag:#06x} with short value {number}", spoiled)
        yield Damaged(f"tag {tag:#06x} left out", _put(content, place.at, f"{place.order}H", 1))


def _forged_segments(content: bytes) -> Iterator[Damaged]:
    for segment in segments(content):
        name = f"segment {segment.marker:02x} at {segment.start}"
        inside = content[segment.start : segment.stop]
        before, after = content[: segment.start], content[segment.stop :]
        for n_bytes in (*SHORTS, len(inside) - 1, len(inside) - 3):
            spoiled = _put(content, segment.start + 2, ">H", n_bytes)
            yield Damaged(f"{name} of length {n_bytes}", spoiled)
        for marker in (0xC0, 0xC2, 0xC9, 0xC4, 0xD8, 0xD9, 0xDA, 0xDB, 0xDD, 0xE1, 0xE2, 0xFF, 0):
            yield Damaged(f"{name} as {marker:02x}", _put(content, segment.start + 1, "B", marker))
        yield Damaged(f"{name} left out", before + after)
        yield Damaged(f"{name} many times", before + inside * 300 + after)
        inner = range(segment.start + 4, min(segment.stop, segment.start + 24))
        for at, byte in product(inner, (0, 1, 127, 255)):
            yield Damaged(f"{name}: byte {at} is {byte}", _put(content, at, "B", byte))
        if 0xC0 <= segment.marker <= 0xC2:
            for height, width in product(SIDES, SIDES):
                sides = (height & 0xFFFF, width & 0xFFFF)
                spoiled = _put(content, segment.start + 5, ">HH", *sides)
                yield Damaged(f"{name}: {sides[1]} x {sides[0]} pixels", spoiled)


def _forged_chunks(content: bytes) -> Iterator[Damaged]:
    for chunk in chunks(content):
        name = f"chunk {chunk.name.decode('latin-1')} at {chunk.start}"
        inside = content[chunk.start : chunk.stop]
        before, after = content[: chunk.start], content[chunk.stop :]
        for n_bytes in (*LONGS, max(len(inside) - 13, 3), len(inside) - 11):
            spoiled = _put(content, chunk.start, ">I", n_bytes)
            yield Damaged(f"{name} of length {n_bytes}", spoiled)
        for other in (b"IHDR", b"IDAT", b"IEND", b"PLTE", b"tRNS", b"iCCP", b"zTXt", b"fdAT"):
            spoiled = before + inside[:4] + other + inside[8:] + after
            yield _checked(Damaged(f"{name} as {other.decode()}", spoiled))
        yield Damaged(f"{name} left out", before + after)
        yield Damaged(f"{name} many times", before + inside * 300 + after)
        if chunk.name == b"IHDR":
            yield from (_checked(each) for each in _forged_header(content, chunk.start + 8))


def _forged_header(content: bytes, at: int) -> Iterator[Damaged]:
    for width in SIDES:
        for height in SIDES:
            yield Damaged(f"{width} x {height} pixels", _put(content, at, ">II", width, height))
    for bits in (0, 1, 2, 4, 8, 16, 32, 255):
        for colours in (0, 1, 2, 3, 4, 5, 6, 255):
            spoiled = _put(content, at + 8, "BB", bits, colours)
            yield Damaged(f"{bits} bits of colour type {colours}", spoiled)
    for field in (10, 11, 12):
        for byte in (1, 2, 255):
            yield Damaged(f"header byte {field} is {byte}", _put(content, at + field, "B", byte))


def _forged_words(content: bytes) -> Iterator[Damaged]:
    """Forge every aligned word of a head whose directories are not walked here."""
    for at in range(4, min(len(content), 400), 2):
        for number in (0, 0x7FFFFFFF, 0xFFFFFFFF):
            yield Damaged(f"word at {at} is {number}", _put(content, at, ">I", number))
