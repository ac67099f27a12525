"""Several pictures at once give what each gives alone."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from motemap.load import LoadedPicture, load_picture
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff


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
