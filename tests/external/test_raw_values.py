"""Light of raw files against another reader's values of the same files.

Authority: tifffile (C. Gohlke), which reads the samples of a DNG without LibRaw, and plain
numpy on them. The files hold no defects, so every difference is one of reading, black level,
mosaic or scale.
"""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from motemap.load import load_picture
from motemap.synth.files import Cfa, Compression, FileTags, cfa_pattern, write_dng

pytestmark = pytest.mark.external

SHAPE = (150, 214)
WHITE = 16383
LEVEL = np.array([2500.0, 7000.0, 4200.0])
CFAS: tuple[Cfa, ...] = ("RGGB", "GRBG", "GBRG", "BGGR", "XTRANS", "MONO")


def written(path: Path, cfa: Cfa, compression: Compression, black: int) -> None:
    rng = np.random.default_rng(11)
    pattern = cfa_pattern(cfa)
    repeats = [-(-side // len(pattern)) for side in SHAPE]
    level = LEVEL[np.tile(pattern, repeats)[: SHAPE[0], : SHAPE[1]]]
    field = 1 + 0.2 * np.sin(np.linspace(0, 3, SHAPE[1])) + 0.004 * rng.standard_normal(SHAPE)
    codes = (black + level * field).round().astype(np.uint16)
    tags = FileTags(maker="Norrland Optik", model="Ratal 3")
    write_dng(path, codes, cfa=cfa, black=black, white=WHITE, tags=tags, compression=compression)


def cells(values: NDArray[np.float64], side_px: int) -> NDArray[np.float64]:
    rows, cols = (side // side_px for side in values.shape)
    whole = values[: rows * side_px, : cols * side_px]
    return np.asarray(whole.reshape(rows, side_px, cols, side_px).mean(axis=(1, 3)))


@pytest.mark.parametrize("cfa", CFAS)
@pytest.mark.parametrize("compression", ["none", "ljpeg"])
@pytest.mark.parametrize("black", [0, 600])
def test_light_is_the_mean_of_the_samples_another_reader_sees(
    tmp_path: Path, cfa: Cfa, compression: Compression, black: int
) -> None:
    path = tmp_path / "a.dng"
    written(path, cfa, compression, black)

    plane = load_picture(path, lambda _info, _metadata: 6).plane

    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        samples = page.asarray().astype(np.float64)
        stated = [page.tags[name].value for name in ("BlackLevel", "WhiteLevel")]
    assert stated == [black, WHITE]
    mean = cells(samples - black, 6)
    assert plane.defect_count == 0
    # Up to the scale the plane is the mean; single precision keeps seven digits.
    np.testing.assert_allclose(plane.light / plane.light.mean(), mean / mean.mean(), rtol=1e-5)
    # The scale: green of a monochrome or mosaic file over the range; 1 of 20 rows is looked at
    # for the level of each colour, which knows it to a few tenths of a per cent.
    pattern = cfa_pattern(cfa)
    is_green = np.tile(pattern == 1, [-(-side // len(pattern)) for side in SHAPE])
    green = np.where(is_green[: SHAPE[0], : SHAPE[1]], samples - black, np.nan)
    expected = float(np.nanmean(green)) / (WHITE - black)
    assert float(plane.light.mean()) == pytest.approx(expected, rel=0.01)
