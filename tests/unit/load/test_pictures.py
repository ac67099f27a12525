"""JPEG, TIFF and PNG through the whole loader: codes to light."""

import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from loading.pictures import SHAPE, TAGS, light_of, loaded, ramp
from motemap.load.readers.curves import srgb_light
from motemap.synth.files import (
    gamma_profile,
    write_jpeg,
    write_png,
    write_tiff,
)


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
    assert loaded(path).plane.block_step_codes is None


@pytest.mark.parametrize("subsampling", ["4:2:0", "4:4:4"])
@pytest.mark.parametrize("n_colours", [1, 3])
@pytest.mark.parametrize("is_progressive", [False, True])
def test_steps_of_a_jpegs_blocks_are_told(
    tmp_path: Path, n_colours: int, subsampling: Any, *, is_progressive: bool
) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(ramp(8, n_colours).squeeze()).save(
        path, quality=50, subsampling=subsampling, progressive=is_progressive
    )
    steps = loaded(path).plane.block_step_codes
    assert steps is not None
    # Quality 50 takes the tables of ITU-T T.81, K.1, as they stand: rows and columns 0 and 7.
    assert steps[0].tolist() == [16, 11, 10, 16, 24, 40, 51, 61]
    assert steps[:, 0].tolist() == [16, 12, 14, 14, 18, 24, 49, 72]
    assert steps[7].tolist() == [72, 92, 95, 98, 112, 100, 103, 99]


def test_the_first_of_several_pictures_in_a_file_has_its_own_steps(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    first, second = Image.fromarray(ramp()), Image.fromarray(ramp()).resize((40, 30))
    first.save(path, format="MPO", save_all=True, append_images=[second], quality=50)
    steps = loaded(path).plane.block_step_codes
    assert steps is not None
    assert steps[0, 0] == 16


def test_colours_that_are_kept_by_themselves_have_no_steps_of_brightness(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(ramp(8, 3)).save(path, quality=50, keep_rgb=True)
    assert loaded(path).plane.block_step_codes is None


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
