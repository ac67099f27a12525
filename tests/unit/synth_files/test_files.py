"""Files written by the package come back bit for bit through readers of other authors."""

import importlib
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import numpy as np
import pytest
import rawpy
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms

from loading.tags import FULL
from motemap.errors import MotemapError, OutputError
from motemap.synth.files import (
    Cfa,
    Compression,
    FileTags,
    cfa_pattern,
    gamma_profile,
    write_dng,
    write_jpeg,
    write_png,
    write_tiff,
)

EXIF_POINTER = 0x8769


def samples_of(shape: tuple[int, ...], seed: int = 3) -> NDArray[np.uint16]:
    return np.random.default_rng(seed).integers(300, 16000, shape).astype(np.uint16)


def codes_of(shape: tuple[int, ...], n_bits: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
    codes = np.random.default_rng(1).integers(0, 1 << n_bits, shape)
    return codes.astype(np.uint8) if n_bits == 8 else codes.astype(np.uint16)


def reopened(path: Path) -> tuple[NDArray[np.uint16], list[int], int]:
    with rawpy.imread(str(path)) as raw:
        return raw.raw_image_visible.copy(), raw.black_level_per_channel, raw.white_level


@pytest.mark.parametrize("cfa", ["RGGB", "GRBG", "GBRG", "BGGR", "XTRANS", "MONO"])
@pytest.mark.parametrize("compression", ["none", "ljpeg"])
@pytest.mark.parametrize("shape", [(531, 604), (90, 132), (30, 44)])
def test_mosaic_samples_come_back(
    tmp_path: Path, cfa: Cfa, compression: Compression, shape: tuple[int, int]
) -> None:
    path = tmp_path / "frame.dng"
    samples = samples_of(shape)

    write_dng(path, samples, cfa=cfa, black=256, white=16383, tags=FULL, compression=compression)

    visible, black, white = reopened(path)
    np.testing.assert_array_equal(visible, samples)
    assert white == 16383
    assert black[0] == 256
    np.testing.assert_array_equal(tifffile.imread(path), samples)


@pytest.mark.parametrize("cfa", ["GRBG", "XTRANS"])
def test_a_mosaic_is_packed_as_well_as_a_single_colour(tmp_path: Path, cfa: Cfa) -> None:
    shape = (480, 512)
    pattern = cfa_pattern(cfa)
    colours = np.resize(np.tile(pattern, (1, shape[1] // len(pattern) + 1))[:, : shape[1]], shape)
    noise = np.random.default_rng(2).normal(0, 20.0, shape)
    levels: dict[Cfa, NDArray[np.int64]] = {
        cfa: np.array([3000, 8000, 4500])[colours],
        "MONO": np.full(shape, 8000),
    }
    path = tmp_path / "frame.dng"
    n_bytes = {}
    for name, level in levels.items():
        samples = (level + noise).round().astype(np.uint16)
        write_dng(path, samples, cfa=name, black=0, white=16383, tags=FULL, compression="ljpeg")
        n_bytes[name] = path.stat().st_size

    # The noise is the same; what the levels add at the rims of tiles is below 2 %.
    assert n_bytes[cfa] < 1.02 * n_bytes["MONO"]


def test_linear_samples_come_back(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    samples = samples_of((40, 62, 3))

    write_dng(path, samples, cfa="LINEAR", black=128, white=16383, tags=FULL)

    visible, _, _ = reopened(path)
    np.testing.assert_array_equal(visible[..., :3], samples)


def test_margins_are_masked(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    samples = samples_of((90, 130))

    write_dng(path, samples, cfa="GRBG", black=0, white=16383, tags=FULL, margins=(10, 20, 4, 6))

    visible, _, _ = reopened(path)
    np.testing.assert_array_equal(visible, samples[10:-4, 20:-6])


def test_black_of_each_corner_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"

    write_dng(
        path, samples_of((30, 44)), cfa="RGGB", black=(500, 510, 520, 530), white=9000, tags=FULL
    )

    # LibRaw orders by colour R, G, B, second G; corners are R, G, second G, B.
    assert reopened(path)[1] == [500, 510, 530, 520]


def test_six_by_six_blocks_hold_the_same_colours() -> None:
    pattern = cfa_pattern("XTRANS")

    for row in (0, 3):
        for col in (0, 3):
            block = pattern[row : row + 3, col : col + 3]
            assert [int((block == code).sum()) for code in (0, 1, 2)] == [2, 5, 2]


@pytest.mark.parametrize("n_bits", [8, 16])
@pytest.mark.parametrize("shape", [(33, 47), (33, 47, 3)])
def test_tiff_codes_come_back(tmp_path: Path, n_bits: int, shape: tuple[int, ...]) -> None:
    path = tmp_path / "frame.tif"
    codes = codes_of(shape, n_bits)

    write_tiff(path, codes, tags=FULL)

    np.testing.assert_array_equal(tifffile.imread(path), codes)


@pytest.mark.parametrize(
    ("n_bits", "shape"),
    [(8, (33, 47)), (8, (33, 47, 3)), (16, (33, 47))],
)
def test_png_codes_come_back(tmp_path: Path, n_bits: int, shape: tuple[int, ...]) -> None:
    path = tmp_path / "frame.png"
    codes = codes_of(shape, n_bits)

    write_png(path, codes, tags=FULL)

    with Image.open(path) as picture:
        np.testing.assert_array_equal(np.asarray(picture), codes)


def test_png_of_16_bit_colour_comes_back_in_its_upper_byte(tmp_path: Path) -> None:
    path = tmp_path / "frame.png"
    codes = np.random.default_rng(1).integers(0, 65535, (33, 47, 3)).astype(np.uint16)

    write_png(path, codes, tags=FULL)

    # Pillow cuts such files to 8 bits; the upper byte is what it keeps.
    with Image.open(path) as picture:
        np.testing.assert_array_equal(np.asarray(picture), (codes >> 8).astype(np.uint8))


def test_jpeg_of_high_quality_is_near(tmp_path: Path) -> None:
    path = tmp_path / "frame.jpg"
    codes = np.full((64, 88, 3), 190, dtype=np.uint8)

    write_jpeg(path, codes, quality=95, tags=FULL, subsampling="4:4:4")

    with Image.open(path) as picture:
        # A flat block survives the cosine transform to within rounding.
        assert np.abs(np.asarray(picture).astype(int) - 190).max() <= 1


@pytest.mark.parametrize("suffix", ["jpg", "tif", "png"])
def test_exif_of_pictures_is_read_by_pillow(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"frame.{suffix}"
    codes = np.full((40, 56), 190, dtype=np.uint8)
    if suffix == "jpg":
        write_jpeg(path, codes, quality=90, tags=FULL)
    else:
        {"tif": write_tiff, "png": write_png}[suffix](path, codes, tags=FULL)

    with Image.open(path) as picture:
        block = picture.getexif()
        shot = block.get_ifd(EXIF_POINTER)

    assert (block[0x010F], block[0x0110], block[0x0112]) == ("Norrland Optik", "Ratal 3", 6)
    assert (float(shot[0x829D]), shot[0x8827], float(shot[0x829A])) == (22.0, 100, 0.004)
    assert (shot[0x9003], shot[0x9011]) == ("2025:03:14 09:26:53", "+02:00")
    assert (shot[0xA431], shot[0xA434], shot[0xA405]) == ("NL-00417", "Ratal 50mm f/2", 75)
    assert (shot[0xA002], shot[0xA003]) == (56, 40)
    assert 1e4 / float(shot[0xA20E]) == pytest.approx(4.35, rel=1e-6)


def test_exposure_of_raw_is_read_by_libraw(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    write_dng(path, samples_of((30, 44)), cfa="RGGB", black=0, white=16383, tags=FULL)

    with rawpy.imread(str(path)) as raw:
        assert raw.other.aperture == 22.0
        assert raw.other.iso_speed == 100
        assert raw.other.shutter_speed == pytest.approx(0.004)
        assert raw.sizes.flip == 6


def test_absent_tags_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "frame.jpg"
    write_jpeg(path, np.full((40, 56), 90, np.uint8), quality=90, tags=FileTags(orientation=None))

    with Image.open(path) as picture:
        assert set(picture.getexif()) == {EXIF_POINTER}
        assert set(picture.getexif().get_ifd(EXIF_POINTER)) == {0x9000, 0xA002, 0xA003}


@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_profile_is_accepted_by_littlecms(mode: str, tmp_path: Path) -> None:
    is_grey = mode == "L"
    path = tmp_path / "curve.icc"
    path.write_bytes(gamma_profile(1.8, is_grey=is_grey))
    source = ImageCms.getOpenProfile(str(path))
    target = ImageCms.createProfile("sRGB")

    turn = ImageCms.buildTransform(source, target, mode, "RGB")
    assert turn is not None
    grey = ImageCms.applyTransform(Image.new(mode, (2, 2), 128 if is_grey else (128,) * 3), turn)

    # (128/255)**1.8 = 0.2891 of the light, which sRGB codes as 146.6 (IEC 61966-2-1).
    assert grey is not None
    pixel = grey.getpixel((0, 0))
    assert isinstance(pixel, tuple)
    assert abs(pixel[1] - 146.6) < 3


def test_a_failed_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "frame.png"
    path.write_bytes(b"old")

    def no_room(_self: Path, _target: Path) -> NoReturn:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", no_room)
    with pytest.raises(OutputError, match="No space left"):
        write_png(path, np.zeros((4, 6), np.uint8), tags=FULL)

    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="folder exists"):
        write_tiff(tmp_path / "no" / "frame.tif", np.zeros((4, 6), np.uint8), tags=FULL)


def test_missing_encoder_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def without(name: str) -> NoReturn:
        raise ImportError(name)

    monkeypatch.setattr(importlib, "import_module", without)
    with pytest.raises(MotemapError, match="imagecodecs is not installed"):
        write_dng(
            tmp_path / "frame.dng",
            samples_of((30, 44)),
            cfa="RGGB",
            black=0,
            white=16383,
            tags=FULL,
            compression="ljpeg",
        )


def test_compressed_linear_samples_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "frame.dng"
    with pytest.raises(MotemapError, match="LINEAR raw files are written without compression"):
        write_dng(
            path,
            samples_of((30, 44, 3)),
            cfa="LINEAR",
            black=0,
            white=16383,
            tags=FULL,
            compression="ljpeg",
        )
    assert not path.exists()


@pytest.mark.parametrize(
    "call",
    [
        lambda path: write_dng(
            path, np.zeros((30, 44, 3), np.uint16), cfa="RGGB", black=0, white=9, tags=FULL
        ),
        lambda path: write_tiff(path, np.zeros((4, 6, 2), np.uint8), tags=FULL),
        lambda path: write_png(path, np.zeros(6, np.uint8), tags=FULL),
    ],
    ids=["colours in a mosaic", "two samples", "a single row"],
)
def test_arrays_that_are_no_pictures_are_refused(
    tmp_path: Path, call: Callable[[Path], None]
) -> None:
    path = tmp_path / "frame"
    with pytest.raises(MotemapError, match="shape"):
        call(path)
    assert not path.exists()
