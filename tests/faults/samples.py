"""Small whole pictures of every format that is read: what the damage is done to."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

import numpy as np
import tifffile
from PIL import Image

from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from motemap.synth.files import Cfa, Compression

SHAPE: Final = (64, 92)
"""Read and then found too small to judge: all that reads is tried, at 20 ms a file."""

WHOLE_SHAPE: Final = (402, 606)
"""Just large enough to be judged: for damage that lets the picture through."""

TAGS: Final = FileTags(
    maker="Norrland Optik",
    model="Ratal 3",
    serial="NL-00417",
    lens="Ratal 60 mm f/2.8",
    f_number=22.0,
    iso=100,
    shutter_s=0.004,
    focal_length_mm=60.0,
    taken_at="2025-03-14T09:26:53",
    focal_plane_pitch_um=4.35,
)


def _light(shape: tuple[int, ...]) -> NDArray[np.float64]:
    return np.random.default_rng(7).normal(0.6, 0.01, shape)


def _stored(shape: tuple[int, ...]) -> NDArray[np.uint16]:
    return (_light(shape) * 16383).astype(np.uint16)


def _codes(shape: tuple[int, ...]) -> NDArray[np.uint8]:
    return (_light(shape) * 255).astype(np.uint8)


def _wide(shape: tuple[int, ...]) -> NDArray[np.uint16]:
    return (_light(shape) * 65535).astype(np.uint16)


def _dng(
    cfa: Cfa, compression: Compression = "none", shape: tuple[int, ...] = SHAPE
) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        write_dng(
            path,
            _stored((*shape, 3) if cfa == "LINEAR" else shape),
            cfa=cfa,
            black=64,
            white=16383,
            tags=TAGS,
            compression=compression,
        )

    return write


def _progressive(path: Path) -> None:
    Image.fromarray(_codes((*SHAPE, 3))).save(path, "JPEG", progressive=True, quality=90)


def _pillow_tiff(compression: str) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        # Through memory: the encoder leaves a file of its own open otherwise.
        sink = io.BytesIO()
        Image.fromarray(_codes((*SHAPE, 3))).save(sink, "TIFF", compression=compression)
        path.write_bytes(sink.getvalue())

    return write


def _deflated_tiff(path: Path) -> None:
    tifffile.imwrite(path, _wide((*SHAPE, 3)), compression="zlib", photometric="rgb", tile=(32, 32))


def _large_offset_tiff(path: Path) -> None:
    tifffile.imwrite(path, _codes(SHAPE), bigtiff=True, byteorder=">", photometric="minisblack")


def _palette(path: Path) -> None:
    Image.fromarray(_codes((*SHAPE, 3))).quantize(32).save(
        path, "PNG", transparency=bytes([255] * 32)
    )


def _profiled(path: Path) -> None:
    write_jpeg(path, _codes((*SHAPE, 3)), quality=90, tags=TAGS, icc_profile=bytes(200))


SAMPLES: Final[dict[str, Callable[[Path], None]]] = {
    "rggb.dng": _dng("RGGB"),
    "xtrans.dng": _dng("XTRANS"),
    "mono.dng": _dng("MONO"),
    "linear.dng": _dng("LINEAR"),
    "rggb-ljpeg.dng": _dng("RGGB", "ljpeg"),
    "xtrans-ljpeg.dng": _dng("XTRANS", "ljpeg"),
    "colour.jpg": _profiled,
    "grey.jpg": lambda path: write_jpeg(path, _codes(SHAPE), quality=90, tags=TAGS),
    "progressive.jpg": _progressive,
    "colour.tif": lambda path: write_tiff(path, _codes((*SHAPE, 3)), tags=TAGS),
    "wide.tif": lambda path: write_tiff(path, _wide(SHAPE), tags=TAGS),
    "deflate.tif": _deflated_tiff,
    "lzw.tif": _pillow_tiff("tiff_lzw"),
    "jpeg.tif": _pillow_tiff("jpeg"),
    "large-offsets.tif": _large_offset_tiff,
    "colour.png": lambda path: write_png(path, _codes((*SHAPE, 3)), tags=TAGS),
    "wide.png": lambda path: write_png(path, _wide((*SHAPE, 3)), tags=TAGS),
    "palette.png": _palette,
}
"""Writers by file name."""

WHOLE_SAMPLES: Final[dict[str, Callable[[Path], None]]] = {
    "whole.dng": _dng("RGGB", shape=WHOLE_SHAPE),
    "whole.jpg": lambda path: write_jpeg(path, _codes(WHOLE_SHAPE), quality=98, tags=TAGS),
}
"""Writers of pictures that are judged to the end."""
