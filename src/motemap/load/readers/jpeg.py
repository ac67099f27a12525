"""JPEG: the brightness channel, decoded as it is."""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING, cast

import numpy as np
from PIL.JpegImagePlugin import JpegImageFile

from motemap.errors import UnsupportedFile
from motemap.load.boundary import reading
from motemap.load.exif.blocks import jpeg_segments
from motemap.load.readers.coded import Coding, coded_picture
from motemap.load.readers.limits import refuse_size
from motemap.load.readers.pixels import as_grey, narrow_codes
from motemap.load.readers.scans import held_bytes, refuse_many_scans

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import BinaryIO

    from numpy.typing import NDArray

    from motemap.load.reduction.samples import OpenPicture
    from motemap.load.source import Source
    from motemap.records import Metadata

_APP1 = 0xE1
_HEAD_BYTES = 4
_BYTES_PER_MB = 1_000_000
_MOST_FILE_BYTES = 400 * _BYTES_PER_MB
"""More than any JPEG from a camera has: a byte a pixel of the largest picture, see
`MOST_PIXELS`."""
_FOUR_INKS = "CMYK"
_RED, _STORED_AS_RGB = ord("R"), 0
_BLOCK_PX = 8
"""Side of the blocks that are coded by themselves (ITU-T T.81)."""


@contextmanager
def open_jpeg(source: Source, metadata: Metadata) -> Iterator[OpenPicture]:
    """Decode the brightness of a JPEG.

    Brightness is a weighted mean of red, green and blue codes, not of light. For a shadow that
    does not matter: where a tone curve is near a power law, a neutral shadow scales the codes
    of all colours by one factor, hence their mean too, whatever tint the field has; so the
    curve may be undone on the mean. Decoding it alone takes half the time of colour.

    Raises
    ------
    UnsupportedFile
        When the picture is in printing colours, or too large or small.
    UnreadableFile
        When the file is damaged or cut off.
    """
    with reading("JPEG file", str(source.path)):
        stored = _opened(source)
        stored.draft("L", stored.size)
        stored.load()
        read_codes, shape, bits = narrow_codes(as_grey(stored))
        coding = Coding(
            bits=bits,
            profile=stored.info.get("icc_profile"),
            block_step_codes=_brightness_steps(stored),
        )
        picture = coded_picture("jpeg", read_codes, shape, coding, metadata)
    yield picture


def _brightness_steps(picture: JpegImageFile) -> NDArray[np.float32] | None:
    """Return the steps of the cosines of the brightness; None where it is not kept by itself.

    That is where red, green and blue are kept, or where the brightness is kept in fewer pixels
    than the picture has, so that its blocks are larger than 8 x 8 of these.
    """
    (name, across, down, table), *others = picture.layer
    is_red = name == _RED or picture.info.get("adobe_transform") == _STORED_AS_RGB
    is_whole = all(across >= other[1] and down >= other[2] for other in others)
    steps = np.array(picture.quantization.get(table, ()), dtype=np.float32)
    if (others and is_red) or not is_whole or steps.size != _BLOCK_PX**2 or steps.min() < 1:
        return None
    return steps.reshape(_BLOCK_PX, _BLOCK_PX)


def _opened(source: Source) -> JpegImageFile:
    """Open past Image.open: that one looks at a size limit which is global to the process."""
    with source.open() as stream:
        kept = _without_exif(cast("io.BufferedIOBase", stream))
    content = kept.getvalue()  # the same memory, no copy
    refuse_many_scans(content)
    picture = JpegImageFile(kept)
    # In one piece: between two the decoder would wait for the interpreter.
    picture.decodermaxblock = len(content)
    refuse_size(picture.height, picture.width, held_bytes(content, picture))
    if picture.mode == _FOUR_INKS:
        raise UnsupportedFile(
            "The JPEG is in printing colours (CMYK).",
            repair="Save it as an RGB JPEG, or give the file from the camera.",
        )
    return picture


def _without_exif(stream: io.BufferedIOBase) -> io.BytesIO:
    """Read all but the Exif blocks: the decoder would warn about a broken one, and needs none.

    Straight to where the decoder reads it: whole files are not to be in memory twice.
    """
    n_bytes = stream.seek(0, io.SEEK_END)
    if n_bytes > _MOST_FILE_BYTES:
        raise UnsupportedFile(
            f"The file holds more than {_MOST_FILE_BYTES // _BYTES_PER_MB} MB, as no JPEG "
            "from a camera does.",
            repair="Give the file from the camera.",
        )
    kept = io.BytesIO(bytes(n_bytes))
    n_kept = 0
    with kept.getbuffer() as room:
        for start, stop in _pieces(stream, n_bytes):
            stream.seek(start)
            n_kept += stream.readinto(room[n_kept : n_kept + stop - start])
    kept.truncate(n_kept)
    return kept


def _pieces(stream: io.BufferedIOBase, n_file_bytes: int) -> Iterator[tuple[int, int]]:
    """Yield begin and end of what lies between the Exif blocks."""
    kept_to = 0
    for marker, at, n_bytes in list(jpeg_segments(cast("BinaryIO", stream), 0)):
        if marker == _APP1:
            yield kept_to, at - _HEAD_BYTES
            kept_to = min(at + max(n_bytes, 0), n_file_bytes)
    yield kept_to, n_file_bytes
