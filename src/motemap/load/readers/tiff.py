"""TIFF of 8 or 16 bits."""

from __future__ import annotations

import logging
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np
import tifffile
from PIL.TiffImagePlugin import TiffImageFile

from motemap.errors import UnreadableFile, UnsupportedFile
from motemap.load.boundary import reading
from motemap.load.readers.coded import BYTE_BITS, Coding, coded_picture
from motemap.load.readers.expansion import DEFLATE, LZMA, refuse_growth
from motemap.load.readers.limits import refuse_size
from motemap.load.readers.pixels import narrow_codes, refuse_transparent, wide_codes

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import BinaryIO

    from PIL.ImageFile import ImageFile

    from motemap.load.readers.pixels import Codes, ReadCodes
    from motemap.load.reduction.samples import OpenPicture
    from motemap.load.source import Source
    from motemap.records import Metadata

# What the libraries find odd in a file they say to their loggers, and a logger that nobody
# listens to prints; what is wrong for us, we say ourselves.
for _library in ("tifffile", "PIL"):
    logging.getLogger(_library).addHandler(logging.NullHandler())

_NONE = 1
_PLAIN_COMPRESSIONS = frozenset((_NONE, *DEFLATE, LZMA))
"""tifffile reads them with nothing but Python."""

_PACK_BITS = 32773
_OTHER_COMPRESSIONS = frozenset((5, 6, 7, _PACK_BITS))
"""LZW, both kinds of JPEG, and PackBits: Pillow reads them, and within bounds."""

_INVERTED, _GREY, _COLOUR = 0, 1, 2
_BITS = (8, 16)
_COLOUR_RANK = 3
_MOST_SAMPLES = 4
_PILLOW_SAMPLES = 4
"""Samples a colour pixel takes in Pillow's memory."""

_SEPARATE = 2
_PROFILE = 34675
_SAVE = "Save it as 8- or 16-bit grey or RGB, uncompressed, or give the file from the camera."


@contextmanager
def open_tiff(source: Source, metadata: Metadata) -> Iterator[OpenPicture]:
    """Decode a TIFF.

    Raises
    ------
    UnsupportedFile
        When its pixels or compression are of a kind that is not read.
    UnreadableFile
        When the file is damaged or cut off.
    """
    with reading("TIFF file", str(source.path)), source.open() as stream:
        with tifffile.TiffFile(stream, name=source.path.name) as file:
            page = _picture_page(file)
            _refuse_page(page, _stream_bytes(stream))
            profile = page.tags.get(_PROFILE)
            is_plain = page.compression in _PLAIN_COMPRESSIONS
            if is_plain:
                refuse_growth(stream, page)
            codes = _grey_or_colour(page, page.asarray()) if is_plain else None
        if codes is not None:
            read_codes, shape, bits = _array_reader(codes)
        else:
            read_codes, shape, bits = _other_codes(stream, page)
        coding = Coding(
            bits=bits,
            profile=bytes(profile.value) if profile is not None else None,
            is_inverted=page.photometric == _INVERTED,
        )
        picture = coded_picture("tiff", read_codes, shape, coding, metadata)
    yield picture


def _picture_page(file: tifffile.TiffFile) -> Any:
    """Return the first page that is no thumbnail."""
    for number in range(min(len(file.pages), _MOST_SAMPLES)):
        page: Any = file.pages[number]
        if not page.is_reduced:
            return page
    return file.pages[0]


def _stream_bytes(stream: BinaryIO) -> int:
    stream.seek(0, 2)
    return stream.tell()


def _refuse_page(page: Any, n_file_bytes: int) -> None:
    """Raise, before anything is decoded, when the page is not one that can be read whole."""
    n_bits, n_samples = page.bitspersample, page.samplesperpixel
    is_other = page.compression in _OTHER_COMPRESSIONS
    n_held = _PILLOW_SAMPLES if is_other and n_samples > 1 else n_samples
    refuse_size(page.imagelength, page.imagewidth, n_held * n_bits // BYTE_BITS)
    is_whole = page.dtype in {np.dtype("u1"), np.dtype("u2")} and n_bits in _BITS
    is_known = page.photometric in {_INVERTED, _GREY, _COLOUR} or (is_other and n_bits == BYTE_BITS)
    if not (is_whole and is_known) or n_samples > _MOST_SAMPLES or page.imagedepth > 1:
        raise UnsupportedFile("Its pixels are not plain 8- or 16-bit grey or RGB.", repair=_SAVE)
    has_odd_differences = page.compression == _PACK_BITS and page.predictor != _NONE
    if page.compression not in _PLAIN_COMPRESSIONS | _OTHER_COMPRESSIONS or has_odd_differences:
        raise UnsupportedFile(
            f"It is compressed in a way that is not read (number {int(page.compression)}).",
            repair=_SAVE,
        )
    n_wanted = page.imagelength * page.imagewidth * n_samples * n_bits // BYTE_BITS
    n_stored = sum(page.databytecounts) if page.compression == _NONE else n_wanted
    ends = (at + size for at, size in zip(page.dataoffsets, page.databytecounts, strict=False))
    if n_stored < n_wanted or 0 in page.databytecounts or max(ends, default=0) > n_file_bytes:
        raise UnreadableFile(
            "The TIFF file is cut off: not all of its pixels are there.",
            repair="Copy or save the file again.",
        )


def _grey_or_colour(page: Any, codes: Codes) -> Codes:
    """Return (H, W) or (H, W, 3) codes: colours last, opaque alpha left out."""
    if codes.ndim == _COLOUR_RANK and page.planarconfig == _SEPARATE:
        codes = np.moveaxis(codes, 0, -1)
    n_colours = 3 if page.photometric == _COLOUR else 1
    if codes.ndim == _COLOUR_RANK:
        for extra in range(n_colours, codes.shape[2]):
            refuse_transparent(int(codes[..., extra].min()), int(np.iinfo(codes.dtype).max))
        codes = codes[..., 0] if n_colours == 1 else codes[..., :n_colours]
    if codes.shape != (page.imagelength, page.imagewidth, 3)[: codes.ndim]:
        raise UnsupportedFile("Its pixels are not plain grey or RGB.", repair=_SAVE)
    return codes


def _array_reader(codes: Codes) -> tuple[ReadCodes, tuple[int, ...], int]:
    """Return what reads rows of an array, its shape, and the bits of a code."""
    native: Codes = (
        codes.astype(np.uint8, copy=False)
        if codes.dtype.itemsize == 1
        else codes.astype(np.uint16, copy=False)
    )

    def read_codes(start: int, stop: int) -> Codes:
        return native[start:stop]

    return read_codes, native.shape, native.dtype.itemsize * BYTE_BITS


def _other_codes(stream: BinaryIO, page: Any) -> tuple[ReadCodes, tuple[int, ...], int]:
    """Decode by Pillow what tifffile cannot without further libraries."""

    def opened() -> ImageFile:
        stream.seek(0)
        return TiffImageFile(stream)

    if page.photometric == _INVERTED:
        raise UnsupportedFile("It is compressed and stored as a negative.", repair=_SAVE)
    if page.bitspersample > BYTE_BITS and page.samplesperpixel > 1:
        order = ("L", "B") if sys.byteorder == "little" else ("B", "L")
        mode = "RGB" if page.samplesperpixel == _COLOUR_RANK else "RGBA"
        return wide_codes(opened, (f"{mode};16{order[0]}", f"{mode};16{order[1]}"))
    picture = opened()
    picture.load()
    return narrow_codes(picture)
