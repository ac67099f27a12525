"""Packed pixels that would grow without bound when they are unpacked."""

from __future__ import annotations

import lzma
import math
import zlib
from typing import TYPE_CHECKING, Any, Final

from motemap.errors import UnreadableFile
from motemap.load.exif.directory import read_at

if TYPE_CHECKING:
    from typing import BinaryIO

DEFLATE: Final = frozenset((8, 32946))
LZMA: Final = 34925
_HARMLESS_BYTES: Final = {**dict.fromkeys(DEFLATE, 1 << 20), LZMA: 1 << 16}
"""Packed pieces up to this grow to half a gigabyte or less, and need no look.

Deflate packs 1032 to 1 at most (zlib's technical notes); LZMA some 7000 to 1 (measured).
"""


def refuse_growth(stream: BinaryIO, page: Any) -> None:
    """Raise when a piece of a TIFF unpacks to more than the picture has room for.

    The library that unpacks it has no bound of its own. Pictures come in many small pieces,
    as a rule, and cost nothing here.

    Raises
    ------
    UnreadableFile
        When a piece does, or cannot be unpacked.
    """
    harmless_bytes = _HARMLESS_BYTES.get(page.compression)
    if harmless_bytes is None:
        return
    room_bytes = math.prod(page.chunks) * page.dtype.itemsize
    for at_bytes, n_bytes in zip(page.dataoffsets, page.databytecounts, strict=False):
        if n_bytes > harmless_bytes:
            packed = read_at(stream, at_bytes, n_bytes)
            if len(_unpacked(packed, page.compression, room_bytes + 1)) > room_bytes:
                raise UnreadableFile(
                    "The TIFF file holds more pixels than its size has room for.",
                    repair="Copy or save the file again.",
                )


def _unpacked(packed: bytes, compression: int, most_bytes: int) -> bytes:
    if compression == LZMA:
        return lzma.LZMADecompressor().decompress(packed, most_bytes)
    return zlib.decompressobj().decompress(packed, most_bytes)
