"""Several pictures at once, or several strips of one, give what each gives alone."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from motemap.load import LoadedPicture, load_picture
from motemap.load.reduction.reduce import reduce_samples
from motemap.load.reduction.samples import StoredSamples
from motemap.strips import limited_threads
from motemap.synth.files import (
    Cfa,
    FileTags,
    cfa_pattern,
    write_dng,
    write_jpeg,
    write_png,
    write_tiff,
)


def pictures(folder: Path) -> list[Path]:
    rng = np.random.default_rng(1)
    paths = []
    for number in range(3):
        codes = rng.integers(120 + 20 * number, 180, (210, 302)).astype(np.uint8)
        wide = codes.astype(np.uint16) * 60
        tags = FileTags(serial=str(number))
        paths += [folder / f"{number}.{name}" for name in ("dng", "jpg", "png", "tif")]
        write_dng(paths[-4], wide, cfa="RGGB", black=0, white=16383, tags=tags)
        write_jpeg(paths[-3], codes, quality=90, tags=tags)
        write_png(paths[-2], wide, tags=tags)
        write_tiff(paths[-1], codes, tags=tags)
    return paths


def loaded(path: Path) -> LoadedPicture:
    return load_picture(path, lambda _info, _metadata: 4)


@pytest.mark.parametrize("n_threads", [4])
def test_threads_do_not_mix_pictures_up(tmp_path: Path, n_threads: int) -> None:
    paths = pictures(tmp_path)
    alone = [loaded(path) for path in paths]
    with ThreadPoolExecutor(n_threads) as pool:
        together = list(pool.map(loaded, paths * 3))
    for one, other in zip(alone * 3, together, strict=True):
        np.testing.assert_array_equal(one.plane.light, other.plane.light)
        assert one.metadata == other.metadata
        assert one.info == other.info


@pytest.mark.parametrize("n_threads", [2, 3])
@pytest.mark.parametrize("cfa", ["RGGB", "XTRANS", "MONO"])
@pytest.mark.parametrize("bin_px", [2, 6])
def test_the_number_of_threads_changes_nothing(n_threads: int, cfa: Cfa, bin_px: int) -> None:
    codes = np.random.default_rng(7).normal(9000, 90, (403, 310)).astype(np.uint16)
    codes[::23, ::31] = 16383
    codes[:, 290:] = 16383
    pattern = cfa_pattern(cfa)
    samples = StoredSamples(
        read_rows=lambda start, stop: codes[start:stop],
        height_px=codes.shape[0],
        width_px=codes.shape[1],
        black=np.full(pattern.shape, 512, np.float32),
        colours=pattern,
        clip_from=16383,
        full_scale=16383.0,
        is_raw=True,
    )
    with limited_threads(1):
        alone = reduce_samples(samples, bin_px)

    with limited_threads(n_threads):
        together = reduce_samples(samples, bin_px)

    assert alone.defect_count > 100
    assert alone.clipped_frac > 0.05
    np.testing.assert_array_equal(alone.light, together.light)
    np.testing.assert_array_equal(alone.valid, together.valid)
    for name in ("defect_count", "clipped_frac", "black_frac", "fine_noise_frac"):
        assert getattr(alone, name) == getattr(together, name)
