"""Ordinary test pictures: JPEG, TIFF and PNG with an Exif block."""

from __future__ import annotations

import io
import struct
import zlib
from typing import TYPE_CHECKING, Literal

import numpy as np
from PIL import Image

from motemap.errors import MotemapError
from motemap.synth.files import exif, ifd
from motemap.synth.files.whole import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from motemap.synth.files.tags import FileTags

    Codes = NDArray[np.uint8] | NDArray[np.uint16]

Subsampling = Literal["4:2:0", "4:4:4"]

_GREY_RANK, _COLOUR_RANK = 2, 3
_GREY_TYPE, _COLOUR_TYPE = 0, 2
_GREY_PHOTOMETRIC, _COLOUR_PHOTOMETRIC = 1, 2
_PNG_MAGIC = b"\x89PNG\r\n\x1a\n"
_SUB_FILTER = 1
_FAST = 1


def write_jpeg(
    path: Path,
    codes: NDArray[np.uint8],
    *,
    quality: int,
    tags: FileTags,
    subsampling: Subsampling = "4:2:0",
    icc_profile: bytes | None = None,
) -> None:
    """Write a JPEG of (H, W) grey or (H, W, 3) colour codes.

    Raises
    ------
    MotemapError
        When the array is no such picture.
    OutputError
        When the file cannot be written.
    """
    _refuse_other(codes, path, kinds=(np.uint8,))
    sink = io.BytesIO()
    Image.fromarray(codes).save(
        sink,
        "JPEG",
        quality=quality,
        subsampling=subsampling,
        exif=b"Exif\0\0" + exif.exif_block(tags, codes.shape[:2]),
        icc_profile=icc_profile,
    )
    write_whole(path, [sink.getbuffer()])


def write_tiff(path: Path, codes: Codes, *, tags: FileTags) -> None:
    """Write an uncompressed TIFF of grey or colour codes of 8 or 16 bits.

    Raises
    ------
    MotemapError
        When the array is no such picture.
    OutputError
        When the file cannot be written.
    """
    _refuse_other(codes, path, kinds=(np.uint8, np.uint16))
    height_px, width_px = codes.shape[:2]
    n_samples = codes.shape[2] if codes.ndim == _COLOUR_RANK else 1
    photometric = _GREY_PHOTOMETRIC if n_samples == 1 else _COLOUR_PHOTOMETRIC
    fixed = [
        *exif.base_entries(tags),
        ifd.whole(0x0100, ifd.LONG, width_px),
        ifd.whole(0x0101, ifd.LONG, height_px),
        ifd.whole(0x0102, ifd.SHORT, *[codes.dtype.itemsize * 8] * n_samples),
        ifd.whole(0x0103, ifd.SHORT, 1),
        ifd.whole(0x0106, ifd.SHORT, photometric),
        ifd.whole(0x0115, ifd.SHORT, n_samples),
        ifd.whole(0x0116, ifd.LONG, height_px),
        ifd.whole(0x0117, ifd.LONG, codes.nbytes),
        ifd.whole(0x011C, ifd.SHORT, 1),
    ]
    shot = exif.exif_entries(tags, (height_px, width_px))

    def head(pixels_at: int) -> bytes:
        return exif.pack_head([*fixed, ifd.whole(0x0111, ifd.LONG, pixels_at)], shot)

    little = np.ascontiguousarray(codes, dtype=codes.dtype.newbyteorder("<"))
    write_whole(path, [head(len(head(0))), little.data.cast("B")])


def write_png(path: Path, codes: Codes, *, tags: FileTags) -> None:
    """Write a PNG of grey or colour codes of 8 or 16 bits.

    Source of the layout: W3C, Portable Network Graphics, third edition (2025).

    Raises
    ------
    MotemapError
        When the array is no such picture.
    OutputError
        When the file cannot be written.
    """
    _refuse_other(codes, path, kinds=(np.uint8, np.uint16))
    height_px, width_px = codes.shape[:2]
    colour_type = _COLOUR_TYPE if codes.ndim == _COLOUR_RANK else _GREY_TYPE
    head = struct.pack(">2I5B", width_px, height_px, codes.dtype.itemsize * 8, colour_type, 0, 0, 0)
    chunks = [
        _PNG_MAGIC,
        _png_chunk(b"IHDR", head),
        _png_chunk(b"eXIf", exif.exif_block(tags, (height_px, width_px))),
        _png_chunk(b"IDAT", zlib.compress(_filtered_rows(codes), _FAST)),
        _png_chunk(b"IEND", b""),
    ]
    write_whole(path, chunks)


def _filtered_rows(codes: Codes) -> bytes:
    """Return each row as differences to the pixel on the left, led by the filter's number."""
    height_px, width_px = codes.shape[:2]
    big = np.ascontiguousarray(codes, dtype=codes.dtype.newbyteorder(">"))
    rows = big.view(np.uint8).reshape(height_px, -1)
    pixel_bytes = rows.shape[1] // width_px
    filtered = np.empty((height_px, rows.shape[1] + 1), dtype=np.uint8)
    filtered[:, 0] = _SUB_FILTER
    filtered[:, 1:] = rows
    filtered[:, 1 + pixel_bytes :] -= rows[:, :-pixel_bytes]
    return filtered.tobytes()


def _png_chunk(name: bytes, payload: bytes) -> bytes:
    check = zlib.crc32(name + payload)
    return struct.pack(">I", len(payload)) + name + payload + struct.pack(">I", check)


def _refuse_other(codes: Codes, path: Path, *, kinds: tuple[type, ...]) -> None:
    is_grey, is_colour = codes.ndim == _GREY_RANK, codes.shape[2:] == (3,)
    if not (is_grey or is_colour) or codes.dtype not in kinds:
        raise MotemapError(
            f"An array of shape {codes.shape} and type {codes.dtype} is no such picture.",
            repair="Give rows, columns and one or three samples of 8 or 16 bits.",
            path=str(path),
        )
