"""JPEG: the brightness channel, decoded as it is."""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING

from PIL.JpegImagePlugin import JpegImageFile

from motemap.errors import UnsupportedFile
from motemap.load.boundary import reading
from motemap.load.exif.blocks import jpeg_segments
from motemap.load.readers.coded import BYTE_BITS, Coding, coded_samples
from motemap.load.readers.limits import refuse_size
from motemap.load.readers.pixels import as_grey, narrow_codes
from motemap.load.readers.scans import held_bytes, refuse_many_scans
from motemap.load.reduction.samples import OpenPicture
from motemap.records import ImageInfo

if TYPE_CHECKING:
    from collections.abc import Iterator

    from motemap.load.source import Source
    from motemap.records import Metadata

_APP1 = 0xE1
_HEAD_BYTES = 4
_BYTES_PER_MB = 1_000_000
_MOST_FILE_BYTES = 400 * _BYTES_PER_MB
_FOUR_INKS = "CMYK"


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
        picture = _opened(source)
        picture.draft("L", picture.size)
        picture.load()
        read_codes, shape, _ = narrow_codes(as_grey(picture))
        coding = Coding(bits=BYTE_BITS, profile=picture.info.get("icc_profile"))
        light, is_own = coding.light()
    info = ImageInfo(
        kind="jpeg",
        width_px=shape[1],
        height_px=shape[0],
        exif_orientation=metadata.exif_orientation,
        bits=BYTE_BITS,
        curve="profile" if is_own else "srgb",
    )
    samples = coded_samples(read_codes, shape, light)
    yield OpenPicture(samples=samples, info=info, metadata=metadata)


def _opened(source: Source) -> JpegImageFile:
    """Open past Image.open: that one looks at a size limit which is global to the process."""
    with source.open() as stream:
        content = stream.read(_MOST_FILE_BYTES + 1)
    if len(content) > _MOST_FILE_BYTES:
        raise UnsupportedFile(
            f"The file holds more than {_MOST_FILE_BYTES // _BYTES_PER_MB} MB, as no JPEG "
            "from a camera does.",
            repair="Give the file from the camera.",
        )
    refuse_many_scans(content)
    picture = JpegImageFile(io.BytesIO(_without_exif(content)))
    refuse_size(picture.height, picture.width, held_bytes(content, picture))
    if picture.mode == _FOUR_INKS:
        raise UnsupportedFile(
            "The JPEG is in printing colours (CMYK).",
            repair="Save it as an RGB JPEG, or give the file from the camera.",
        )
    return picture


def _without_exif(content: bytes) -> bytes:
    """Leave out the Exif block: the decoder would warn about a broken one, and needs none."""
    parts, kept_to = [], 0
    for marker, at, n_bytes in jpeg_segments(io.BytesIO(content), 0):
        if marker == _APP1:
            parts.append(content[kept_to : at - _HEAD_BYTES])
            kept_to = at + max(n_bytes, 0)
    return b"".join([*parts, content[kept_to:]]) if parts else content
