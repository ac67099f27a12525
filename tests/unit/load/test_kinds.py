"""What a file is, by content first."""

import io
import struct
from pathlib import Path

import numpy as np
import pytest

from motemap.errors import LoadError, UnreadableFile, UnsupportedFile
from motemap.load import HEAD_BYTES, RAW_SUFFIXES, identify, is_picture
from motemap.load.kinds import readable_kind
from motemap.records import ImageKind
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff

CODES = np.full((40, 57), 120, np.uint8)
HEIF = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"


def tiff_head(*entries: tuple[int, int], order: str = "<") -> bytes:
    magic = b"II*\0" if order == "<" else b"MM\0*"
    body = struct.pack(f"{order}IH", 8, len(entries))
    for tag, value in entries:
        body += struct.pack(f"{order}HHIHH", tag, 3, 1, value, 0)
    return magic + body + bytes(4)


@pytest.mark.parametrize("name", ["a.jpg", "a.nef", "a.txt", "a"])
def test_written_pictures_are_known_whatever_they_are_called(tmp_path: Path, name: str) -> None:
    tags = FileTags(maker="Norrland Optik")
    path = tmp_path / name
    kinds: list[ImageKind | None] = []
    write_jpeg(path, CODES, quality=90, tags=tags)
    kinds.append(identify(path.read_bytes()[:HEAD_BYTES], name))
    write_png(path, CODES, tags=tags)
    kinds.append(identify(path.read_bytes()[:HEAD_BYTES], name))
    write_dng(path, CODES.astype(np.uint16), cfa="RGGB", black=0, white=255, tags=tags)
    kinds.append(identify(path.read_bytes()[:HEAD_BYTES], name))
    assert kinds == ["jpeg", "png", "raw"]


def test_a_plain_grey_tiff_is_no_raw_file(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    write_tiff(path, CODES.astype(np.uint16), tags=FileTags())
    assert identify(path.read_bytes(), "a.tif") == "tiff"


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize(
    ("entries", "name", "kind"),
    [
        ([(0x0106, 1)], "a.tif", "tiff"),
        ([(0x0106, 2)], "a.tif", "tiff"),
        ([(0x0106, 2)], "a.nef", "raw"),
        ([(0x0106, 32803)], "a.tif", "raw"),
        ([(0x0106, 34892)], "a", "raw"),
        ([(0x0106, 1), (0xC612, 1)], "a.tif", "raw"),
        ([], "a.tiff", "tiff"),
        ([], "a.arw", "raw"),
    ],
)
def test_tiff_like_files_are_told_apart(
    entries: list[tuple[int, int]], name: str, kind: ImageKind, order: str
) -> None:
    assert identify(tiff_head(*entries, order=order), name) == kind


@pytest.mark.parametrize(
    "head",
    [
        b"FUJIFILMCCD-RAW 0201",
        b"IIU\0\x18\0\0\0",
        b"IIRO\x08\0\0\0",
        b"MMOR\0\0\0\x08",
        b"FOVb\0\0\0\0",
        b"\0MRM\0\0\0\0",
        b"II\x1a\0\0\0HEAPCCDR",
        b"\0\0\0\x18ftypcrx \0\0\0\0",
    ],
)
def test_raw_formats_of_their_own_are_known(head: bytes) -> None:
    assert identify(head.ljust(64, b"\0"), "frame") == "raw"


@pytest.mark.parametrize("name", ["notes.txt", "a.xmp", "a.mov", "", "a.html"])
def test_other_files_are_none(name: str) -> None:
    assert identify(b"nothing of note", name) is None
    assert not is_picture(b"nothing of note", name)


@pytest.mark.parametrize("suffix", sorted(RAW_SUFFIXES | {".jpg", ".JPG", ".tif", ".png"}))
def test_damaged_pictures_count_by_their_name(suffix: str) -> None:
    assert identify(b"", "shot" + suffix) is not None
    assert is_picture(bytes(300), "shot" + suffix)


@pytest.mark.parametrize("head", [HEIF, b"GIF89a", b"RIFF\0\0\0\0WEBPVP8 ", b"8BPS\0\x01"])
def test_other_pictures_are_pictures_but_not_read(head: bytes) -> None:
    assert identify(head, "shot.jpg") is None
    assert is_picture(head, "shot")


@pytest.mark.parametrize(
    ("content", "name", "error", "words"),
    [
        (HEIF, "a.heic", UnsupportedFile, "HEIF pictures are not read. Save the shot as JPEG"),
        (HEIF, "a.nef", UnsupportedFile, "HEIF pictures are not read"),
        (b"GIF89a" + bytes(90), "a.gif", UnsupportedFile, "GIF pictures"),
        ("Dear diary, 3 µm\n".encode(), "a.nef", UnreadableFile, "holds text"),
        (b"more words", "a.jpg", UnreadableFile, "not a picture. Name a JPEG, TIFF, PNG or raw"),
        (bytes(4000), "a.nef", UnreadableFile, "nothing but zeros"),
        (bytes(range(1, 200)), "a.png", UnreadableFile, "does not begin like any picture"),
    ],
)
def test_refusals_say_what_is_wrong(
    content: bytes, name: str, error: type[LoadError], words: str
) -> None:
    with pytest.raises(error) as raised:
        readable_kind(io.BytesIO(content), name)
    assert words in str(raised.value)


def test_unknown_content_under_a_raw_name_is_left_to_the_decoder() -> None:
    assert readable_kind(io.BytesIO(bytes(range(1, 200))), "a.k25") == "raw"
