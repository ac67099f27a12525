"""JPEG, TIFF and PNG through the whole loader."""

import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from motemap.errors import UnreadableFile, UnsupportedFile
from motemap.load import LoadedPicture, load_picture
from motemap.load.readers.curves import srgb_light
from motemap.synth.files import (
    FileTags,
    gamma_profile,
    write_jpeg,
    write_png,
    write_tiff,
)

SHAPE = (98, 151)
TAGS = FileTags(maker="Norrland Optik", f_number=16.0, orientation=3)
TINT = np.array([0, -9, 6])


def ramp(n_bits: int = 8, n_colours: int = 1) -> NDArray[Any]:
    """Codes that rise from a third to two thirds along the rows, with a tint."""
    codes = np.linspace(85, 170, SHAPE[1]).round()[None] * np.ones((SHAPE[0], 1))
    if n_colours > 1:
        codes = codes[..., None] + TINT[:n_colours]
    return (codes * (257 if n_bits == 16 else 1)).astype(np.uint16 if n_bits == 16 else np.uint8)


def light_of(codes: NDArray[Any]) -> NDArray[np.float64]:
    light = srgb_light(codes / np.iinfo(codes.dtype).max)
    return light if light.ndim == 2 else light.mean(axis=2)


def loaded(path: Path, bin_px: int = 1) -> LoadedPicture:
    return load_picture(path, lambda _info, _metadata: bin_px)


@pytest.mark.parametrize("n_bits", [8, 16])
@pytest.mark.parametrize("n_colours", [1, 3])
@pytest.mark.parametrize("kind", ["tiff", "png"])
def test_codes_become_light(tmp_path: Path, kind: str, n_bits: int, n_colours: int) -> None:
    path = tmp_path / f"a.{kind}"
    codes = ramp(n_bits, n_colours)
    (write_png if kind == "png" else write_tiff)(path, codes, tags=TAGS)

    picture = loaded(path)

    # Light is kept to 1/16383 of full scale for 8 bits, finer for 16.
    np.testing.assert_allclose(picture.plane.light, light_of(codes), atol=5e-5)
    assert (picture.info.kind, picture.info.bits) == (kind, n_bits)
    assert (picture.info.curve, picture.info.mosaic) == ("srgb", "none")
    assert (picture.info.height_px, picture.info.width_px) == SHAPE
    assert picture.info.exif_orientation == 3
    assert picture.metadata.exposure.f_number == 16.0
    assert picture.plane.valid.all()


def test_averages_are_taken_of_light_and_not_of_codes(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    codes = np.tile(np.array([[100, 200], [200, 100]], np.uint8), (49, 76))[:, :151]
    write_png(path, codes, tags=TAGS)
    expected = (float(srgb_light(np.array(100 / 255))) + float(srgb_light(np.array(200 / 255)))) / 2
    np.testing.assert_allclose(loaded(path, 2).plane.light, expected, atol=5e-5)


@pytest.mark.parametrize("subsampling", ["4:2:0", "4:4:4"])
@pytest.mark.parametrize("n_colours", [1, 3])
def test_jpeg_gives_its_brightness(tmp_path: Path, subsampling: Any, n_colours: int) -> None:
    path = tmp_path / "a.jpg"
    codes = ramp(8, n_colours)
    write_jpeg(path, codes, quality=98, tags=TAGS, subsampling=subsampling)
    with Image.open(path) as picture:
        brightness = np.asarray(picture.convert("L"))

    found = loaded(path)

    np.testing.assert_allclose(found.plane.light, light_of(brightness), atol=5e-5)
    assert (found.info.kind, found.info.curve) == ("jpeg", "srgb")


def test_a_shadow_has_one_depth_under_any_tint(tmp_path: Path) -> None:
    depths = []
    for tint in ((0, 0, 0), (30, 0, -40), (-60, 10, 20)):
        field = np.full((*SHAPE, 3), 0.5) * np.exp(np.array(tint) / 100)
        field[40:60, 60:90] *= 0.9
        noise = np.random.default_rng(4).normal(0, 1, field.shape)
        codes = (255 * field ** (1 / 2.2) + noise).round().clip(0, 253).astype(np.uint8)
        path = tmp_path / "a.jpg"
        write_jpeg(path, codes, quality=100, tags=TAGS, subsampling="4:4:4")
        light = loaded(path).plane.light
        depths.append(1 - float(light[44:56, 64:86].mean() / light[:30].mean()))
    # One code of noise, 1.2 % of the light, over 250 pixels and more: 0.08 %. sRGB is no pure
    # power law; that adds 0.3 %.
    np.testing.assert_allclose(depths, 0.1, atol=0.004)


@pytest.mark.parametrize("kind", ["jpeg", "tiff", "png"])
def test_codes_from_254_on_are_clipped(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a.{kind}"
    codes = np.full((96, 144), 200, np.uint8)
    codes[16:32, 32:64] = 254
    codes[48:64, 32:64] = 253
    if kind == "jpeg":
        write_jpeg(path, codes, quality=100, tags=TAGS)
    else:
        (write_png if kind == "png" else write_tiff)(path, codes, tags=TAGS)

    plane = loaded(path, 8).plane

    expected = np.ones((12, 18), dtype=bool)
    expected[2:4, 4:8] = False
    np.testing.assert_array_equal(plane.valid, expected)
    assert plane.clipped_frac == pytest.approx(512 / codes.size)


def test_one_clipped_colour_clips_the_pixel(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    codes = np.full((96, 144, 3), 200, np.uint8)
    codes[8:16, 8:24, 2] = 255
    write_png(path, codes, tags=TAGS)
    plane = loaded(path, 8).plane
    assert (~plane.valid).sum() == 2
    assert float(plane.light.max()) <= 1.0


def test_steps_of_coarse_codes_are_told(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    write_jpeg(path, ramp(), quality=95, tags=TAGS)
    step = loaded(path).plane.code_step
    assert step is not None
    assert step.shape == (256,)
    # The slope of the sRGB curve at code 200, by hand: 2.4 * 0.5776 / (200 + 0.055 * 255).
    assert float(step[200]) == pytest.approx(2.4 * 0.57758 / 214.03, rel=1e-3)


def test_fine_codes_have_no_steps(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    write_tiff(path, ramp(16), tags=TAGS)
    assert loaded(path).plane.code_step is None


def test_an_embedded_curve_is_used(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    codes = np.full(SHAPE, 128, np.uint8)
    write_jpeg(path, codes, quality=100, tags=TAGS, icc_profile=gamma_profile(1.5, is_grey=True))
    picture = loaded(path)
    assert picture.info.curve == "profile"
    np.testing.assert_allclose(picture.plane.light, (128 / 255) ** 1.5, atol=1e-3)


def test_an_embedded_curve_of_a_tiff_is_used(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, ramp(16), iccprofile=gamma_profile(1.0, is_grey=True))
    picture = loaded(path)
    assert picture.info.curve == "profile"
    np.testing.assert_allclose(picture.plane.light, ramp(16) / 65535, atol=2e-5)


@pytest.mark.parametrize(("stored", "curve"), [(100000, "profile"), (45455, "srgb")])
def test_the_stated_exponent_of_a_png_is_used(tmp_path: Path, stored: int, curve: str) -> None:
    path = tmp_path / "a.png"
    write_png(path, ramp(), tags=TAGS)
    content = path.read_bytes()
    chunk = b"gAMA" + struct.pack(">I", stored)
    framed = struct.pack(">I", 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    path.write_bytes(content[:33] + framed + content[33:])
    picture = loaded(path)
    assert picture.info.curve == curve
    expected = ramp() / 255 if curve == "profile" else light_of(ramp())
    np.testing.assert_allclose(picture.plane.light, expected, atol=5e-5)


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
