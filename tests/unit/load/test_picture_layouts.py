"""The ways in which TIFF and PNG lay out their pixels."""

import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from loading.pictures import SHAPE, TAGS, light_of, loaded, ramp
from motemap.errors import UnsupportedFile
from motemap.synth.files import (
    write_png,
)


@pytest.mark.parametrize(
    ("compression", "predictor"),
    [
        *((name, "plain") for name in ("zlib", "lzw", "packbits", "lzma")),
        *((name, "differences") for name in ("zlib", "lzw", "lzma")),
    ],
)
@pytest.mark.parametrize("n_bits", [8, 16])
@pytest.mark.parametrize("n_colours", [1, 3])
def test_compressed_tiffs(
    tmp_path: Path, compression: str, n_bits: int, n_colours: int, predictor: str
) -> None:
    path = tmp_path / "a.tif"
    codes = ramp(n_bits, n_colours)
    tifffile.imwrite(
        path,
        codes,
        compression=compression,
        predictor=predictor == "differences",
        photometric="rgb" if n_colours > 1 else "minisblack",
        rowsperstrip=17,
    )
    np.testing.assert_allclose(loaded(path).plane.light, light_of(codes), atol=5e-5)


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize("n_bits", [8, 16])
def test_tiff_layouts(tmp_path: Path, byteorder: Any, planar: Any, n_bits: int) -> None:
    path = tmp_path / "a.tif"
    codes = ramp(n_bits, 3)
    stored = codes if planar == "contig" else np.moveaxis(codes, 2, 0)
    tifffile.imwrite(
        path, stored, photometric="rgb", planarconfig=planar, byteorder=byteorder, tile=(32, 48)
    )
    np.testing.assert_allclose(loaded(path).plane.light, light_of(codes), atol=5e-5)


def test_a_negative_tiff_is_turned(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    codes = ramp()
    tifffile.imwrite(path, 255 - codes, photometric="miniswhite")
    np.testing.assert_allclose(loaded(path).plane.light, light_of(codes), atol=5e-5)


def test_a_large_tiff_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, ramp(16), bigtiff=True)
    np.testing.assert_allclose(loaded(path).plane.light, light_of(ramp(16)), atol=2e-5)


def test_the_thumbnail_of_a_tiff_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as file:
        file.write(np.zeros((20, 30), np.uint8), subfiletype=1)
        file.write(ramp(16), subfiletype=0)
    assert loaded(path).info.width_px == SHAPE[1]


@pytest.mark.parametrize("kind", ["png", "tiff", "tiff lzw"])
@pytest.mark.parametrize("n_bits", [8, 16])
def test_opaque_transparency_is_dropped(tmp_path: Path, kind: str, n_bits: int) -> None:
    path = tmp_path / f"a.{kind[:4].strip()}"
    with_transparency(path, kind, n_bits, lowest=1.0)
    light = loaded(path).plane.light
    np.testing.assert_allclose(light, light_of(ramp(n_bits, 3)), atol=5e-5)


@pytest.mark.parametrize("kind", ["png", "tiff", "tiff lzw"])
@pytest.mark.parametrize("n_bits", [8, 16])
def test_real_transparency_is_refused(tmp_path: Path, kind: str, n_bits: int) -> None:
    path = tmp_path / f"a.{kind[:4].strip()}"
    with_transparency(path, kind, n_bits, lowest=0.5)
    with pytest.raises(UnsupportedFile, match="transparent parts"):
        loaded(path)


def with_transparency(path: Path, kind: str, n_bits: int, lowest: float) -> None:
    codes = ramp(n_bits, 3)
    most = np.iinfo(codes.dtype).max
    alpha = np.full((*SHAPE, 1), most, codes.dtype)
    alpha[30:40, 50:60] = int(lowest * most)
    full = np.concatenate([codes, alpha], axis=2)
    if kind == "png":
        write_rgba_png(path, full)
    else:
        compression = "lzw" if kind.endswith("lzw") else None
        tifffile.imwrite(
            path, full, photometric="rgb", extrasamples=["unassalpha"], compression=compression
        )


def write_rgba_png(path: Path, codes: NDArray[Any]) -> None:
    n_bits = codes.dtype.itemsize * 8
    rows = codes.astype(codes.dtype.newbyteorder(">")).view(np.uint8).reshape(len(codes), -1)
    lines = np.pad(rows, ((0, 0), (1, 0))).tobytes()

    def chunk(name: bytes, payload: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + payload))
        return struct.pack(">I", len(payload)) + name + payload + check

    head = struct.pack(">IIBBBBB", codes.shape[1], codes.shape[0], n_bits, 6, 0, 0, 0)
    parts = [chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(lines)), chunk(b"IEND", b"")]
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(parts))


def test_palettes_are_looked_up(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    Image.fromarray(ramp()).convert("P").save(path)
    np.testing.assert_allclose(loaded(path).plane.light, light_of(ramp()), atol=5e-5)


def test_jpeg_inside_a_tiff_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    Image.fromarray(ramp()).save(path, compression="jpeg", quality=100)
    np.testing.assert_allclose(loaded(path).plane.light, light_of(ramp()), atol=0.01)


def test_a_wide_grey_png_with_transparency_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    write_png(path, ramp(16), tags=TAGS)
    content = bytearray(path.read_bytes())
    content[25] = 4
    path.write_bytes(bytes(content))
    with pytest.raises(UnsupportedFile, match="without transparency"):
        loaded(path)
