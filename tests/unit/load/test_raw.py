"""Raw files through the whole loader."""

from pathlib import Path

import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray

from motemap.load import LoadedPicture, load_picture
from motemap.load.readers.decoder_tags import with_decoder_tags
from motemap.records import Camera, Exposure, Metadata
from motemap.synth.files import Cfa, Compression, FileTags, cfa_pattern, write_dng

SHAPE = (242, 326)
BLACK, WHITE = 512, 16383
LEVEL = np.array([3000.0, 8000.0, 4500.0])
TAGS = FileTags(maker="Norrland Optik", model="Ratal 3", f_number=22.0, orientation=8)

BAYER: tuple[Cfa, ...] = ("RGGB", "GRBG", "GBRG", "BGGR")


def stored(
    cfa: Cfa, shape: tuple[int, int] = SHAPE, start: tuple[int, int] = (0, 0)
) -> NDArray[np.uint16]:
    """A field of 1 % noise with a dark square, the mosaic counted from `start`."""
    rng = np.random.default_rng(6)
    field = 1 + 0.01 * rng.standard_normal(shape)
    field[start[0] + 60 : start[0] + 120, start[1] + 90 : start[1] + 150] *= 0.5
    pattern = np.roll(cfa_pattern(cfa), start, axis=(0, 1))
    repeats = [-(-side // len(pattern)) for side in shape]
    level = LEVEL[np.tile(pattern, repeats)[: shape[0], : shape[1]]]
    return (BLACK + level * field).round().astype(np.uint16)


def loaded(path: Path, bin_px: int = 6) -> LoadedPicture:
    return load_picture(path, lambda _info, _metadata: bin_px)


@pytest.mark.parametrize("cfa", [*BAYER, "XTRANS", "MONO"])
@pytest.mark.parametrize("compression", ["none", "ljpeg"])
def test_every_mosaic_gives_the_same_picture(
    tmp_path: Path, cfa: Cfa, compression: Compression
) -> None:
    path = tmp_path / "a.dng"
    codes = stored(cfa)
    write_dng(path, codes, cfa=cfa, black=BLACK, white=WHITE, tags=TAGS, compression=compression)

    picture = loaded(path)

    light = picture.plane.light
    # A cell of 36 pixels has 0.17 % noise; 10 x 10 cells of the square 0.02 %.
    assert light[10:20, 15:25].mean() / light[:8].mean() == pytest.approx(0.5, rel=2e-3)
    assert light[:8].mean() == pytest.approx(8000 / (WHITE - BLACK), rel=2e-3)
    assert light[:8].std() / light[:8].mean() < 0.0022
    assert picture.info.kind == "raw"
    assert picture.info.mosaic == {"XTRANS": "6x6", "MONO": "none"}.get(cfa, "2x2")
    assert picture.info.curve == "linear"
    assert picture.info.bits == 14
    assert (picture.info.height_px, picture.info.width_px) == SHAPE
    assert picture.info.exif_orientation == 8


@pytest.mark.parametrize(
    "margins", [(0, 0, 0, 0), (6, 6, 0, 0), (10, 20, 4, 2), (12, 28, 2, 6), (7, 6, 1, 4)]
)
@pytest.mark.parametrize("cfa", ["RGGB", "GBRG", "XTRANS"])
def test_masked_margins_are_cut_and_colours_stay_in_step(
    tmp_path: Path, cfa: Cfa, margins: tuple[int, int, int, int]
) -> None:
    path = tmp_path / "a.dng"
    top, left, bottom, right = margins
    # In a 2x2 mosaic the decoder moves odd margins on to the next even ones.
    is_moved = cfa != "XTRANS"
    shape = (SHAPE[0] + top + bottom, SHAPE[1] + left + right)
    codes = stored(cfa, shape, (top, left))
    codes[:top] = codes[:, :left] = BLACK
    write_dng(path, codes, cfa=cfa, black=BLACK, white=WHITE, tags=TAGS, margins=margins)

    plane = loaded(path).plane

    light = plane.light
    height_px = SHAPE[0] - (top % 2 if is_moved else 0)
    assert light.shape[0] == height_px // plane.bin_px
    assert light[:8].std() / light[:8].mean() < 0.0022
    assert light[11:19, 16:24].mean() / light[:8].mean() == pytest.approx(0.5, rel=2e-3)


def test_black_of_each_corner_is_used(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    black = (480, 512, 540, 600)
    codes = stored("RGGB").astype(np.int32)
    offset = np.tile(np.array(black).reshape(2, 2) - BLACK, (121, 163))
    write_dng(
        path, (codes + offset).astype(np.uint16), cfa="RGGB", black=black, white=WHITE, tags=TAGS
    )
    light = loaded(path).plane.light
    assert light[10:20, 15:25].mean() / light[:8].mean() == pytest.approx(0.5, rel=1e-3)


def test_black_comes_from_masked_columns_where_the_file_states_none(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    codes = stored("RGGB", (242, 346), (0, 20))
    codes[:, :20] = np.random.default_rng(1).normal(BLACK, 5, (242, 20)).round()
    write_dng(path, codes, cfa="RGGB", black=0, white=WHITE, tags=TAGS, margins=(0, 20, 0, 0))
    light = loaded(path).plane.light
    assert light[11:19, 16:24].mean() / light[:8].mean() == pytest.approx(0.5, rel=2e-3)


def test_linear_files_give_the_mean_of_their_colours(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    rng = np.random.default_rng(2)
    field = 1 + 0.01 * rng.standard_normal((*SHAPE, 1))
    codes = (BLACK + LEVEL * field).round().astype(np.uint16)
    codes[30:42, 60:72, 1] = WHITE
    write_dng(path, codes, cfa="LINEAR", black=BLACK, white=WHITE, tags=TAGS)

    picture = loaded(path)

    assert picture.info.mosaic == "linear"
    assert float(np.median(picture.plane.light)) == pytest.approx(
        LEVEL.mean() / (WHITE - BLACK), rel=1e-3
    )
    expected = np.ones_like(picture.plane.valid)
    expected[5:7, 10:12] = False
    np.testing.assert_array_equal(picture.plane.valid, expected)
    assert picture.plane.clipped_frac == pytest.approx(144 / (SHAPE[0] * SHAPE[1]))


def test_wishes_are_asked_with_what_is_known(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    write_dng(path, stored("RGGB"), cfa="RGGB", black=BLACK, white=WHITE, tags=TAGS)
    asked = []

    def choose(info: object, metadata: object) -> int:
        asked.append((info, metadata))
        return 5

    picture = load_picture(path, choose)
    assert asked == [(picture.info, picture.metadata)]
    assert picture.plane.bin_px == 4


def test_bytes_give_the_same_as_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    write_dng(path, stored("GBRG"), cfa="GBRG", black=BLACK, white=WHITE, tags=TAGS)
    by_name = loaded(path)
    by_bytes = load_picture(Path("-"), lambda _i, _m: 6, content=path.read_bytes())
    np.testing.assert_array_equal(by_name.plane.light, by_bytes.plane.light)
    assert by_bytes.info == by_name.info


def test_names_that_are_no_utf8_are_opened(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    write_dng(path, stored("RGGB"), cfa="RGGB", black=BLACK, white=WHITE, tags=TAGS)
    odd = tmp_path / b"shot \xff\n.dng".decode("utf-8", "surrogateescape")
    path.rename(odd)
    assert loaded(odd).info.kind == "raw"


class FakeSizes:
    flip = 6


class FakeRaw:
    """An open raw file as far as it is asked."""

    sizes = FakeSizes()


def test_the_decoder_fills_gaps(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    tags = FileTags(
        f_number=16.0,
        iso=200,
        shutter_s=0.5,
        focal_length_mm=85.0,
        lens="Ratal 85mm",
        taken_at="2025-03-14T09:26:53",
        orientation=6,
    )
    write_dng(path, stored("RGGB"), cfa="RGGB", black=BLACK, white=WHITE, tags=tags)
    with rawpy.imread(str(path)) as raw:
        filled = with_decoder_tags(Metadata(), raw)
        kept = with_decoder_tags(
            Metadata(exposure=Exposure(f_number=22.0), exif_orientation=1), raw
        )
    assert filled.exposure == Exposure(
        f_number=16.0,
        iso=200.0,
        shutter_s=0.5,
        focal_length_mm=85.0,
        taken_at="2025-03-14T09:26:53",
    )
    assert filled.camera.lens == "Ratal 85mm"
    assert filled.exif_orientation == 6
    assert (kept.exposure.f_number, kept.exif_orientation) == (22.0, 1)


def test_what_the_decoder_does_not_know_stays_unknown(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    write_dng(
        path,
        stored("RGGB"),
        cfa="RGGB",
        black=BLACK,
        white=WHITE,
        tags=FileTags(orientation=None),
    )
    with rawpy.imread(str(path)) as raw:
        assert with_decoder_tags(Metadata(), raw) == Metadata()


def test_an_older_decoder_has_less_to_say() -> None:
    filled = with_decoder_tags(Metadata(camera=Camera(lens="x")), FakeRaw())
    assert filled == Metadata(camera=Camera(lens="x"), exif_orientation=6)


@pytest.mark.parametrize(
    ("flip", "orientation"),
    # LibRaw's own rotation codes of Exif 1 to 8, found by reading files of all eight.
    [(1, 2), (3, 3), (2, 4), (4, 5), (6, 6), (7, 7), (5, 8)],
)
def test_rotation_codes_of_the_decoder(tmp_path: Path, flip: int, orientation: int) -> None:
    path = tmp_path / "a.dng"
    tags = FileTags(orientation=orientation)
    write_dng(path, stored("RGGB"), cfa="RGGB", black=BLACK, white=WHITE, tags=tags)
    with rawpy.imread(str(path)) as raw:
        assert raw.sizes.flip == flip
        assert with_decoder_tags(Metadata(), raw).exif_orientation == orientation
