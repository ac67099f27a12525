"""What is done while a picture is decoded."""

import threading
from pathlib import Path

import numpy as np
import pytest

from motemap.errors import UnreadableFile
from motemap.load import load_picture
from motemap.records import ImageInfo, Metadata
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png


def picture(folder: Path, kind: str) -> Path:
    path = folder / f"a.{kind}"
    codes = np.random.default_rng(2).normal(150, 3, (98, 151)).astype(np.uint8)
    if kind == "dng":
        wide = codes.astype(np.uint16)
        write_dng(path, wide, cfa="RGGB", black=0, white=999, tags=FileTags())
    elif kind == "jpg":
        write_jpeg(path, codes, quality=90, tags=FileTags())
    else:
        write_png(path, codes, tags=FileTags())
    return path


@pytest.mark.parametrize(("kind", "n_others"), [("dng", 1), ("jpg", 1), ("png", 0)])
def test_it_is_done_once_before_the_cells_are_chosen(
    tmp_path: Path, kind: str, n_others: int
) -> None:
    done: list[int] = []

    def meanwhile() -> None:
        done.append(int(threading.current_thread() is not threading.main_thread()))

    def choose_bin(_info: ImageInfo, _metadata: Metadata) -> int:
        assert done == [n_others]
        return 2

    plane = load_picture(picture(tmp_path, kind), choose_bin, meanwhile=meanwhile).plane

    assert done == [n_others]
    alone = load_picture(picture(tmp_path, kind), lambda _info, _metadata: 2).plane
    np.testing.assert_array_equal(plane.light, alone.light)


@pytest.mark.parametrize("kind", ["dng", "jpg", "png"])
def test_its_fault_is_raised(tmp_path: Path, kind: str) -> None:
    def meanwhile() -> None:
        raise ImportError("no such stage")

    with pytest.raises(ImportError, match="no such stage"):
        load_picture(picture(tmp_path, kind), lambda _info, _metadata: 2, meanwhile=meanwhile)


def test_the_fault_of_the_picture_comes_first(tmp_path: Path) -> None:
    path = picture(tmp_path, "dng")
    path.write_bytes(path.read_bytes()[:4000])

    def meanwhile() -> None:
        raise ImportError("no such stage")

    with pytest.raises(UnreadableFile):
        load_picture(path, lambda _info, _metadata: 2, meanwhile=meanwhile)
