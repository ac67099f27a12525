"""Raw files that are refused: with which words, and what is let go of."""

import struct
from pathlib import Path

import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray

from motemap.errors import UnreadableFile, UnsupportedFile
from motemap.load import LoadedPicture, load_picture, read_metadata
from motemap.load.readers import limits
from motemap.load.readers import raw as raw_reader
from motemap.synth.files import Compression, FileTags, write_dng

SHAPE = (242, 326)
BLACK, WHITE = 512, 16383


def field() -> NDArray[np.uint16]:
    """A field of 1 % noise."""
    noise = np.random.default_rng(6).standard_normal(SHAPE)
    return (BLACK + 5000 * (1 + 0.01 * noise)).round().astype(np.uint16)


def write(path: Path, codes: NDArray[np.uint16], compression: Compression = "none") -> None:
    write_dng(
        path,
        codes,
        cfa="RGGB",
        black=BLACK,
        white=WHITE,
        tags=FileTags(),
        compression=compression,
    )


def loaded(path: Path) -> LoadedPicture:
    return load_picture(path, lambda _info, _metadata: 6)


@pytest.mark.parametrize("value", [0, BLACK, BLACK - 20])
def test_a_raw_file_without_light_is_refused(tmp_path: Path, value: int) -> None:
    path = tmp_path / "a.dng"
    write(path, np.full(SHAPE, value, np.uint16))
    with pytest.raises(UnreadableFile, match="cut off or empty") as raised:
        loaded(path)
    assert raised.value.path == str(path)


def test_a_raw_file_whose_end_is_zero_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    codes = field()
    codes[190:] = 0
    write(path, codes)
    with pytest.raises(UnreadableFile, match="cut off"):
        loaded(path)


@pytest.mark.parametrize("compression", ["none", "ljpeg"])
@pytest.mark.parametrize("kept_frac", [0.999, 0.7, 0.2])
def test_a_truncated_raw_file_is_refused(
    tmp_path: Path, compression: Compression, kept_frac: float
) -> None:
    path = tmp_path / "a.dng"
    write(path, field(), compression)
    content = path.read_bytes()
    path.write_bytes(content[: int(kept_frac * len(content))])
    with pytest.raises(UnreadableFile, match="damaged or cut off") as raised:
        loaded(path)
    assert "Copy the file" in raised.value.repair


def test_an_unknown_raw_file_is_unsupported(tmp_path: Path) -> None:
    path = tmp_path / "a.nef"
    path.write_bytes(b"MM\0*\0\0\0\x08\0\0" + bytes(range(256)) * 40)
    with pytest.raises(UnsupportedFile, match="decoder does not know") as raised:
        loaded(path)
    assert "JPEG" in raised.value.repair


# JPEG XL (DNG 1.7.0.0) and VC-5 (GoPro): the decoder opens files of both and decodes neither.
@pytest.mark.parametrize("compression", [52546, 9])
def test_an_unknown_compression_is_unsupported(tmp_path: Path, compression: int) -> None:
    path = with_compression(tmp_path / "a.dng", compression)
    with pytest.raises(UnsupportedFile, match="decoder does not know") as raised:
        loaded(path)
    assert "uncompressed" in raised.value.repair
    assert raised.value.path == str(path)


def with_compression(path: Path, number: int) -> Path:
    """Write a raw file that says it is compressed in another way than it is."""
    write(path, field())
    entry = struct.Struct("<HHIHH")
    content = path.read_bytes()
    old, new = (entry.pack(0x0103, 3, 1, code, 0) for code in (1, number))
    assert content.count(old) == 1
    path.write_bytes(content.replace(old, new))
    return path


class WatchedRaw:
    """An open raw file that says whenever it is closed."""

    def __init__(self, raw: rawpy.RawPy, closings: list[None]) -> None:
        self._raw, self._closings = raw, closings

    def __getattr__(self, name: str) -> object:
        return getattr(self._raw, name)

    def close(self) -> None:
        self._closings.append(None)
        self._raw.close()


@pytest.fixture
def closings(monkeypatch: pytest.MonkeyPatch) -> list[None]:
    """Return a list with one entry for each time that an open raw file was closed."""
    seen: list[None] = []
    imread = rawpy.imread
    monkeypatch.setattr(rawpy, "imread", lambda file: WatchedRaw(imread(file), seen))
    return seen


def test_a_raw_file_is_closed_once(tmp_path: Path, closings: list[None]) -> None:
    path = tmp_path / "a.dng"
    write(path, field())
    loaded(path)
    assert len(closings) == 1
    assert read_metadata(path).height_px == SHAPE[0]
    assert len(closings) == 2


def test_a_raw_file_that_cannot_be_decoded_is_closed_once(
    tmp_path: Path, closings: list[None]
) -> None:
    path = with_compression(tmp_path / "a.dng", 52546)
    with pytest.raises(UnsupportedFile):
        loaded(path)
    assert len(closings) == 1


def test_a_raw_file_that_is_cut_off_is_closed_once(tmp_path: Path, closings: list[None]) -> None:
    path = tmp_path / "a.dng"
    write(path, field())
    path.write_bytes(path.read_bytes()[:20000])
    with pytest.raises(UnreadableFile):
        loaded(path)
    assert len(closings) == 1


def test_a_raw_file_of_a_refused_size_is_closed_once(
    tmp_path: Path, closings: list[None], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.dng"
    write(path, field())
    monkeypatch.setattr(limits, "MOST_PIXELS", 1000)
    with pytest.raises(UnsupportedFile, match="326 x 242 pixels"):
        loaded(path)
    assert len(closings) == 1


class FourByFour:
    """An open raw file with a mosaic that no camera has."""

    num_colors = 3
    raw_pattern = np.zeros((4, 4), np.uint8)


def test_other_repeats_are_refused() -> None:
    with pytest.raises(UnsupportedFile, match="every 4 pixels"):
        raw_reader._colours(FourByFour())
