"""Pictures that are damaged, too large or of other kinds."""

import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from loading.pictures import SHAPE, TAGS, loaded, ramp
from motemap.errors import UnreadableFile, UnsupportedFile
from motemap.load import load_picture
from motemap.synth.files import (
    write_jpeg,
    write_png,
    write_tiff,
)

Saver = Callable[[Path], object]


def saved(mode: str, **options: Any) -> Saver:
    def save(path: Path) -> None:
        Image.new(mode, (64, 48)).save(path, **options)

    return save


REFUSED: dict[str, tuple[str, Saver, str]] = {
    "printing colours": ("a.jpg", saved("CMYK"), "printing colours"),
    "float TIFF": ("a.tif", saved("F"), "plain 8- or 16-bit"),
    "whole numbers of 32 bits": ("a.tif", saved("I"), "plain 8- or 16-bit"),
    "printing colours in TIFF": ("a.tif", saved("CMYK"), "plain 8- or 16-bit"),
    "palette TIFF": ("a.tif", saved("P"), "plain 8- or 16-bit"),
    "black and white TIFF": ("a.tif", saved("1"), "plain 8- or 16-bit"),
    "zstd": (
        "a.tif",
        lambda path: tifffile.imwrite(path, ramp(), compression="zstd"),
        "number 50000",
    ),
    "PackBits of differences": (
        "a.tif",
        lambda path: tifffile.imwrite(path, ramp(), compression="packbits", predictor=True),
        "number 32773",
    ),
    "compressed negative": (
        "a.tif",
        lambda path: tifffile.imwrite(path, ramp(), compression="lzw", photometric="miniswhite"),
        "negative",
    ),
    "stack of depth": (
        "a.tif",
        lambda path: tifffile.imwrite(
            path, np.zeros((4, 32, 48), np.uint8), tile=(4, 32, 48), photometric="minisblack"
        ),
        "plain 8- or 16-bit",
    ),
    "tiny": ("a.png", lambda path: Image.new("L", (1, 1)).save(path), "only 1 x 1 pixels"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_other_pixels_are_refused(tmp_path: Path, what: str) -> None:
    name, save, words = REFUSED[what]
    path = tmp_path / name
    save(path)
    with pytest.raises(UnsupportedFile, match=words) as raised:
        loaded(path)
    assert raised.value.path == str(path)
    assert raised.value.repair.endswith(".")


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif"])
@pytest.mark.parametrize("kept_frac", [0.9, 0.5, 0.1])
def test_truncated_pictures_are_refused(tmp_path: Path, name: str, kept_frac: float) -> None:
    path = tmp_path / name
    codes = np.random.default_rng(1).integers(60, 200, SHAPE).astype(np.uint8)
    if name == "a.jpg":
        write_jpeg(path, codes, quality=95, tags=TAGS)
    else:
        (write_png if name == "a.png" else write_tiff)(path, codes, tags=TAGS)
    content = path.read_bytes()
    path.write_bytes(content[: int(kept_frac * len(content))])
    with pytest.raises(UnreadableFile, match="cut off") as raised:
        loaded(path)
    assert raised.value.path == str(path)


def test_an_end_in_one_grey_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    codes = np.random.default_rng(1).integers(150, 200, (640, 400)).astype(np.uint8)
    codes[480:] = 128
    write_jpeg(path, codes, quality=95, tags=TAGS)
    with pytest.raises(UnreadableFile, match="cut off: the last"):
        loaded(path)


def test_a_broken_exif_block_does_not_spoil_a_jpeg(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    write_jpeg(path, ramp(), quality=95, tags=TAGS)
    whole = loaded(path)
    content = bytearray(path.read_bytes())
    at = content.index(b"II*\0")
    content[at + 8 : at + 100] = b"\xff" * 92
    path.write_bytes(bytes(content))
    np.testing.assert_array_equal(loaded(path).plane.light, whole.plane.light)


@pytest.mark.parametrize("n_blocks", [0, 1, 3])
def test_exif_blocks_do_not_reach_the_decoder(tmp_path: Path, n_blocks: int) -> None:
    path, plain = tmp_path / "a.jpg", tmp_path / "plain.jpg"
    write_jpeg(plain, ramp(), quality=95, tags=TAGS)
    content = plain.read_bytes()
    remark = b"\xff\xfe\x00\x06left"
    block = b"\xff\xe1\x00\x10Exif\0\0II\xff\xff\xff\xff\xff\xff"
    path.write_bytes(content[:2] + (block + remark) * n_blocks + content[2:])
    np.testing.assert_array_equal(loaded(path).plane.light, loaded(plain).plane.light)


def test_giants_are_refused_before_they_are_decoded(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    head = struct.pack(">IIBBBBB", 30000, 30000, 8, 0, 0, 0, 0)
    chunk = b"IHDR" + head
    framed = struct.pack(">I", 13) + chunk + struct.pack(">I", zlib.crc32(chunk))
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + framed)
    with pytest.raises(UnsupportedFile, match="900 megapixels"):
        loaded(path)


def test_tiffs_that_claim_terabytes_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, ramp())
    content = bytearray(path.read_bytes())
    for tag in (0x0100, 0x0101):
        at = content.index(struct.pack("<HH", tag, 4)) if tag else 0
        content[at + 8 : at + 12] = struct.pack("<I", 3_000_000)
    path.write_bytes(bytes(content))
    with pytest.raises(UnsupportedFile, match="megapixels"):
        loaded(path)


def test_more_pixels_than_pillow_likes_are_no_warning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.png"
    write_png(path, ramp(), tags=TAGS)
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 14000)
    assert loaded(path).info.width_px == SHAPE[1]
    jpeg = tmp_path / "a.jpg"
    write_jpeg(jpeg, ramp(), quality=90, tags=TAGS)
    assert loaded(jpeg).info.width_px == SHAPE[1]


def test_a_broken_exif_block_does_not_spoil_a_png(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    write_png(path, ramp(16, 3), tags=TAGS)
    whole = loaded(path)
    content = bytearray(path.read_bytes())
    at = content.index(b"II*\0")
    content[at + 8 : at + 100] = b"\xff" * 92
    path.write_bytes(bytes(content))
    np.testing.assert_array_equal(loaded(path).plane.light, whole.plane.light)


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif"])
def test_bytes_give_the_same_as_the_file(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if name == "a.jpg":
        write_jpeg(path, ramp(), quality=95, tags=TAGS)
    else:
        (write_png if name == "a.png" else write_tiff)(path, ramp(16, 3), tags=TAGS)
    by_bytes = load_picture(Path("-"), lambda _i, _m: 3, content=path.read_bytes())
    np.testing.assert_array_equal(loaded(path, 3).plane.light, by_bytes.plane.light)


def test_tags_of_a_program_do_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    sink = io.BytesIO()
    Image.fromarray(ramp()).save(sink, "JPEG", quality=95, comment=b"x" * 70, progressive=True)
    path.write_bytes(sink.getvalue())
    assert loaded(path).metadata.camera.maker is None
