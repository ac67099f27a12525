"""Raw test files: DNG with 2x2, 6x6, monochrome or linear samples.

Source of tags and their meaning: Adobe, Digital Negative Specification 1.4.0.0 (2012).
"""

from __future__ import annotations

import importlib
import math
from itertools import accumulate
from typing import TYPE_CHECKING, Literal, TypedDict

import numpy as np

from motemap.errors import MotemapError
from motemap.synth.files import exif, ifd
from motemap.synth.files.whole import write_whole

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import NotRequired, Unpack

    from numpy.typing import NDArray

    from motemap.synth.files.ifd import TagToWrite
    from motemap.synth.files.tags import FileTags

    Chunks = list[bytes | memoryview]

Cfa = Literal["RGGB", "GRBG", "GBRG", "BGGR", "XTRANS", "MONO", "LINEAR"]
Compression = Literal["none", "ljpeg"]

_SIX_BY_SIX = "GBGGRG RGRBGB GBGGRG GRGGBG BGBRGR GRGGBG"
_COLOUR_CODES = {"R": 0, "G": 1, "B": 2}
_TILE_STEP_PX = 16
_LARGEST_TILE_PX = 480
"""A multiple of the step and of every mosaic's repeat."""

_CFA_PHOTOMETRIC, _LINEAR_PHOTOMETRIC = 32803, 34892
_NO_COMPRESSION, _JPEG_COMPRESSION = 1, 7
_SAMPLE_BITS = 16
_FEWEST_BITS = 8
_COLOUR_RANK = 3
_IDENTITY_MATRIX = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)
_NEUTRAL = (0.5, 1.0, 0.625)
_DAYLIGHT_ILLUMINANT = 21


class RawLayout(TypedDict):
    """How the samples of a raw file are to be read.

    Keys
    ----
    cfa
        Colour mosaic, named by its first rows, as seen from the visible area's corner.
    black
        Black level: one number, or four for the corners of the 2x2 repeat, row by row.
    white
        Clipping level.
    compression
        "ljpeg" writes lossless-JPEG tiles of a mosaic and needs the test dependency imagecodecs.
    margins
        Masked rows and columns (top, left, bottom, right) that `samples` includes.
    """

    cfa: Cfa
    black: int | Sequence[int]
    white: int
    compression: NotRequired[Compression]
    margins: NotRequired[tuple[int, int, int, int]]


def cfa_pattern(cfa: Cfa) -> NDArray[np.uint8]:
    """Return the repeat of a mosaic: (2, 2), (6, 6) or (1, 1); 0 red, 1 green, 2 blue.

    Examples
    --------
    >>> cfa_pattern("GRBG").tolist()
    [[1, 0], [2, 1]]
    """
    if cfa in {"MONO", "LINEAR"}:
        return np.ones((1, 1), dtype=np.uint8)
    rows = _SIX_BY_SIX.split() if cfa == "XTRANS" else [cfa[:2], cfa[2:]]
    return np.array([[_COLOUR_CODES[letter] for letter in row] for row in rows], dtype=np.uint8)


def write_dng(
    path: Path, samples: NDArray[np.uint16], *, tags: FileTags, **layout: Unpack[RawLayout]
) -> None:
    """Write a raw file that holds `samples` bit for bit.

    Parameters
    ----------
    path : Path
        Where to; written whole or not at all.
    samples : (H, W) or (H, W, 3) uint16
        Stored values, masked margins included; three samples only for ``cfa="LINEAR"``.
    tags : FileTags
        Metadata.
    **layout
        See `RawLayout`.

    Raises
    ------
    MotemapError
        When imagecodecs is needed and missing, or samples, mosaic and compression do not fit
        together.
    OutputError
        When the file cannot be written.
    """
    has_colours = samples.ndim == _COLOUR_RANK
    if samples.dtype != np.uint16 or has_colours != (layout["cfa"] == "LINEAR"):
        raise MotemapError(
            f"Samples of shape {samples.shape} and type {samples.dtype} do not make a "
            f"{layout['cfa']} raw file.",
            repair="Give uint16, with three samples a pixel only for LINEAR.",
            path=str(path),
        )
    top, left, bottom, right = layout.get("margins", (0, 0, 0, 0))
    visible_px = (samples.shape[0] - top - bottom, samples.shape[1] - left - right)
    is_packed = _is_packed(layout)
    if is_packed and has_colours:
        raise MotemapError(
            "LINEAR raw files are written without compression only.",
            repair="Leave the compression out.",
            path=str(path),
        )
    repeat_px = len(cfa_pattern(layout["cfa"]))
    tile = _tile_shape(samples.shape, repeat_px)
    chunks = _packed_tiles(samples, tile, repeat_px) if is_packed else _strip(samples)
    fixed = [
        *exif.base_entries(tags),
        *_structure_entries(samples, layout),
        *_mosaic_entries(layout["cfa"]),
        *_camera_entries(tags),
        ifd.whole(0xC68D, ifd.LONG, top, left, top + visible_px[0], left + visible_px[1]),
    ]
    shot = exif.exif_entries(tags, visible_px)

    def head(pixels_at: int) -> bytes:
        places = _tile_places if is_packed else _strip_place
        shape = tile if is_packed else samples.shape
        return exif.pack_head([*fixed, *places(chunks, pixels_at, shape)], shot)

    write_whole(path, [head(len(head(0))), *chunks])


def _structure_entries(samples: NDArray[np.uint16], layout: RawLayout) -> list[TagToWrite]:
    height_px, width_px = samples.shape[:2]
    n_samples = 1 if samples.ndim < _COLOUR_RANK else samples.shape[2]
    black = layout["black"]
    levels = (black,) if isinstance(black, int) else tuple(black)
    entries = [
        ifd.whole(0x00FE, ifd.LONG, 0),
        ifd.whole(0x0100, ifd.LONG, width_px),
        ifd.whole(0x0101, ifd.LONG, height_px),
        ifd.whole(0x0102, ifd.SHORT, *[_SAMPLE_BITS] * n_samples),
        ifd.whole(0x0103, ifd.SHORT, _JPEG_COMPRESSION if _is_packed(layout) else _NO_COMPRESSION),
        ifd.whole(0x0115, ifd.SHORT, n_samples),
        ifd.whole(0x011C, ifd.SHORT, 1),
        ifd.whole(0xC61D, ifd.LONG, *[layout["white"]] * n_samples),
    ]
    if n_samples > 1:
        levels = levels * n_samples if len(levels) == 1 else levels
        return [*entries, ifd.whole(0xC61A, ifd.LONG, *levels)]
    side = math.isqrt(len(levels))
    return [
        *entries,
        ifd.whole(0xC619, ifd.SHORT, side, side),
        ifd.whole(0xC61A, ifd.LONG, *levels),
    ]


def _mosaic_entries(cfa: Cfa) -> list[TagToWrite]:
    if cfa in {"MONO", "LINEAR"}:
        return [ifd.whole(0x0106, ifd.SHORT, _LINEAR_PHOTOMETRIC)]
    pattern = cfa_pattern(cfa)
    return [
        ifd.whole(0x0106, ifd.SHORT, _CFA_PHOTOMETRIC),
        ifd.whole(0x828D, ifd.SHORT, *pattern.shape),
        ifd.raw_bytes(0x828E, ifd.BYTE, pattern.tobytes()),
        ifd.raw_bytes(0xC616, ifd.BYTE, bytes([0, 1, 2])),
        ifd.whole(0xC617, ifd.SHORT, 1),
    ]


def _camera_entries(tags: FileTags) -> list[TagToWrite]:
    name = " ".join(part for part in (tags.maker, tags.model) if part) or "unnamed"
    entries = [
        ifd.raw_bytes(0xC612, ifd.BYTE, bytes([1, 4, 0, 0])),
        ifd.raw_bytes(0xC613, ifd.BYTE, bytes([1, 1, 0, 0])),
        ifd.text(0xC614, name),
        ifd.ratio(0xC621, *_IDENTITY_MATRIX, signed=True),
        ifd.ratio(0xC628, *_NEUTRAL),
        ifd.whole(0xC65A, ifd.SHORT, _DAYLIGHT_ILLUMINANT),
    ]
    if tags.serial is not None:
        entries.append(ifd.text(0xC62F, tags.serial))
    return entries


def _strip_place(chunks: Chunks, pixels_at: int, shape: tuple[int, ...]) -> list[TagToWrite]:
    return [
        ifd.whole(0x0111, ifd.LONG, pixels_at),
        ifd.whole(0x0116, ifd.LONG, shape[0]),
        ifd.whole(0x0117, ifd.LONG, len(chunks[0])),
    ]


def _tile_places(chunks: Chunks, pixels_at: int, shape: tuple[int, ...]) -> list[TagToWrite]:
    lengths = [len(chunk) for chunk in chunks]
    starts = list(accumulate(lengths[:-1], initial=pixels_at))
    return [
        ifd.whole(0x0142, ifd.LONG, shape[1]),
        ifd.whole(0x0143, ifd.LONG, shape[0]),
        ifd.whole(0x0144, ifd.LONG, *starts),
        ifd.whole(0x0145, ifd.LONG, *lengths),
    ]


def _is_packed(layout: RawLayout) -> bool:
    return layout.get("compression", "none") == "ljpeg"


def _strip(samples: NDArray[np.uint16]) -> Chunks:
    return [np.ascontiguousarray(samples, dtype="<u2").data.cast("B")]


def _packed_tiles(samples: NDArray[np.uint16], tile: tuple[int, int], repeat_px: int) -> Chunks:
    """Return the tiles as lossless JPEG, the rows of one repeat of the mosaic side by side.

    A sample is predicted from those beside and above it. Laid out so, the one above has its
    colour, and noisy frames of 12 bits take 7 bits a sample instead of 11. Readers of DNG ask
    for as many samples as the tile has, whatever the sides of the JPEG.
    """
    encode = _lossless_encoder()
    n_bits = max(int(samples.max()).bit_length(), _FEWEST_BITS)
    short = [(0, -full % side) for full, side in zip(samples.shape, tile, strict=True)]
    padded = np.pad(samples, short)
    rows, cols = (range(0, full, side) for full, side in zip(samples.shape, tile, strict=True))
    return [
        encode(
            padded[row : row + tile[0], col : col + tile[1]].reshape(tile[0] // repeat_px, -1),
            n_bits,
        )
        for row in rows
        for col in cols
    ]


def _tile_shape(shape: tuple[int, ...], repeat_px: int) -> tuple[int, int]:
    """Return the sides of a tile: multiples of 16, and whole repeats of the mosaic down."""
    down_px, across_px = math.lcm(_TILE_STEP_PX, repeat_px), _TILE_STEP_PX
    return _tile_side(shape[0], down_px), _tile_side(shape[1], across_px)


def _tile_side(side_px: int, step_px: int) -> int:
    """Return the largest multiple of a step that fits, but at least one."""
    return max(min(_LARGEST_TILE_PX, side_px) // step_px, 1) * step_px


def _lossless_encoder() -> Callable[[NDArray[np.uint16], int], bytes]:
    try:
        imagecodecs = importlib.import_module("imagecodecs")
    except ImportError as fault:
        raise MotemapError(
            "Lossless-JPEG tiles cannot be written, because imagecodecs is not installed.",
            repair="Install imagecodecs, or write the file uncompressed.",
        ) from fault

    def encode(tile: NDArray[np.uint16], n_bits: int) -> bytes:
        return bytes(imagecodecs.ljpeg_encode(tile, bitspersample=n_bits))

    return encode
