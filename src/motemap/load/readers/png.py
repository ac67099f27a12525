"""PNG of 8 or 16 bits."""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple

from PIL.PngImagePlugin import PngImageFile

from motemap.errors import UnsupportedFile
from motemap.load.boundary import reading
from motemap.load.exif.blocks import PNG_MAGIC, png_chunks
from motemap.load.exif.directory import read_at, unpack_at
from motemap.load.readers.coded import Coding, coded_picture
from motemap.load.readers.limits import MOST_BYTES, refuse_size
from motemap.load.readers.pixels import narrow_codes, wide_codes

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import BinaryIO

    from PIL.ImageFile import ImageFile

    from motemap.load.readers.pixels import ReadCodes
    from motemap.load.reduction.samples import OpenPicture
    from motemap.load.source import Source
    from motemap.records import Metadata

_HEADER_AT = 16
_WIDE_BITS = 16
_GREY, _COLOUR, _PALETTE, _GREY_ALPHA, _COLOUR_ALPHA = 0, 2, 3, 4, 6
_HELD_BYTES = {_GREY: 2, _COLOUR: 4, _PALETTE: 6, _GREY_ALPHA: 5, _COLOUR_ALPHA: 5}
"""Bytes a pixel takes in the decoder's memory, by colour type: four for several samples, one
more for opacity by itself, and two more where a palette is looked up in."""

_MOST_HELD_BYTES = max(_HELD_BYTES.values())

_LAYOUTS = {_COLOUR: ("RGB;16B", "RGB;16L"), _COLOUR_ALPHA: ("RGBA;16B", "RGBA;16L")}
_NEEDED_CHUNKS = frozenset((b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"))
_CHUNK_HEAD_BYTES, _CHECKSUM_BYTES = 8, 4
_SRGB_GAMMA, _GAMMA_TOLERANCE = 1 / 2.2, 0.01
"""What files of sRGB state as their exponent, in five decimals; the real curve is then taken."""


class _Header(NamedTuple):
    width_px: int
    height_px: int
    bits: int
    colour_type: int


@contextmanager
def open_png(source: Source, metadata: Metadata) -> Iterator[OpenPicture]:
    """Decode a PNG.

    Raises
    ------
    UnsupportedFile
        When it has transparent parts, or is too large or small.
    UnreadableFile
        When the file is damaged or cut off.
    """
    with reading("PNG file", str(source.path)), source.open() as stream:
        fields = unpack_at(stream, _HEADER_AT, ">IIBB")
        header = _Header(*fields) if fields else _Header(0, 0, 0, 0)
        is_wide = header.bits == _WIDE_BITS and header.colour_type in _LAYOUTS
        held_bytes = _HELD_BYTES.get(header.colour_type, _MOST_HELD_BYTES) * (2 if is_wide else 1)
        refuse_size(header.height_px, header.width_px, held_bytes)
        if header.bits == _WIDE_BITS and header.colour_type == _GREY_ALPHA:
            raise UnsupportedFile(
                "Grey pictures of 16 bits with transparency are not read.",
                repair="Save it without transparency.",
            )
        layouts = _LAYOUTS[header.colour_type] if is_wide else None
        try:
            read_codes, shape, coding = _decoded(stream, layouts)
        except (OSError, SyntaxError, ValueError):
            read_codes, shape, coding = _decoded(_bare(stream), layouts)
        picture = coded_picture("png", read_codes, shape, coding, metadata)
    yield picture


def _decoded(
    stream: BinaryIO, layouts: tuple[str, str] | None
) -> tuple[ReadCodes, tuple[int, ...], Coding]:
    picture = _open(stream)
    if layouts is not None:
        read_codes, shape, bits = wide_codes(lambda: _open(stream), layouts)
    else:
        picture.load()
        read_codes, shape, bits = narrow_codes(picture)
    profile, gamma = picture.info.get("icc_profile"), _stated_gamma(picture)
    return read_codes, shape, Coding(bits=bits, profile=profile, gamma=gamma)


def _bare(stream: BinaryIO) -> BinaryIO:
    """Return the picture without chunks that say things about it.

    The decoder refuses a whole picture for one damaged remark in it.
    """
    needed = [(at, n_bytes) for name, at, n_bytes in png_chunks(stream) if name in _NEEDED_CHUNKS]
    if min(sum(n_bytes for _, n_bytes in needed), stream.seek(0, io.SEEK_END)) > MOST_BYTES:
        raise UnsupportedFile(
            "The PNG is damaged, and too large to look for what is whole in it.",
            repair="Save it again.",
        )
    kept = [PNG_MAGIC]
    for at, n_bytes in needed:
        n_whole = _CHUNK_HEAD_BYTES + n_bytes + _CHECKSUM_BYTES
        kept.append(read_at(stream, at - _CHUNK_HEAD_BYTES, n_whole))
    return io.BytesIO(b"".join(kept))


def _open(stream: BinaryIO) -> ImageFile:
    """Open past Pillow's own size limit, which is global to the process and warns."""
    stream.seek(0)
    return PngImageFile(stream)


def _stated_gamma(picture: ImageFile) -> float | None:
    """Return the exponent of a gAMA chunk, unless it is the one that goes with sRGB."""
    stated = picture.info.get("gamma")
    if not stated or "srgb" in picture.info:
        return None
    return None if abs(stated - _SRGB_GAMMA) < _GAMMA_TOLERANCE else 1 / float(stated)
