"""Metadata from every container."""

import io
import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loading.tags import FULL
from motemap.load import read_metadata
from motemap.load.exif.metadata import exif_metadata
from motemap.records import Camera, Exposure, Metadata, SensorHints
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff
from motemap.synth.files.exif import exif_block

SHAPE = (40, 58)
TAGS = replace(FULL, taken_at="2025-03-14T09:26:53.250000+02:00", focal_plane_pitch_um=4.0)
EXPECTED = Metadata(
    camera=Camera(
        maker="Norrland Optik", model="Ratal 3", serial="NL-00417", lens="Ratal 50mm f/2"
    ),
    exposure=Exposure(
        f_number=22.0,
        iso=100.0,
        shutter_s=0.004,
        focal_length_mm=50.0,
        taken_at="2025-03-14T09:26:53.250000+02:00",
    ),
    hints=SensorHints(
        focal_plane_pitch_um=4.0,
        focal_plane_pitch_y_um=4.0,
        focal_plane_width_px=58,
        focal_plane_height_px=40,
        focal_length_35mm=75.0,
    ),
    exif_orientation=6,
)
Writer = Callable[[Path, FileTags], None]


def jpeg(path: Path, tags: FileTags) -> None:
    write_jpeg(path, np.full(SHAPE, 150, np.uint8), quality=90, tags=tags)


def tiff(path: Path, tags: FileTags) -> None:
    write_tiff(path, np.full(SHAPE, 150, np.uint8), tags=tags)


def png(path: Path, tags: FileTags) -> None:
    write_png(path, np.full(SHAPE, 150, np.uint8), tags=tags)


def dng(path: Path, tags: FileTags) -> None:
    write_dng(path, np.full(SHAPE, 150, np.uint16), cfa="RGGB", black=0, white=999, tags=tags)


def retitled(magic: bytes) -> Writer:
    """A TIFF that begins as some raw formats do."""

    def write(path: Path, tags: FileTags) -> None:
        tiff(path, tags)
        path.write_bytes(magic + path.read_bytes()[4:])

    return write


def embedded(path: Path, tags: FileTags) -> None:
    """A raw format that keeps its Exif in a JPEG at an offset given at byte 84."""
    jpeg(path, tags)
    head = b"FUJIFILMCCD-RAW ".ljust(84, b"\0") + struct.pack(">II", 160, 999)
    path.write_bytes(head.ljust(160, b"\0") + path.read_bytes())


def inner_jpeg(path: Path, tags: FileTags) -> None:
    """A raw format whose first directory points to a JPEG that holds the Exif."""
    jpeg(path, tags)
    content = path.read_bytes()
    entry = struct.pack("<HHII", 0x002E, 7, len(content), 26)
    path.write_bytes(b"IIU\0\x08\0\0\0\x01\0" + entry + bytes(4) + content)


def boxed(path: Path, tags: FileTags) -> None:
    """A raw format of nested boxes."""

    def box(name: bytes, payload: bytes) -> bytes:
        return struct.pack(">I4s", len(payload) + 8, name) + payload

    block = exif_block(tags, SHAPE)
    identity = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
    inner = box(b"uuid", identity + box(b"CNCV", b"made up") + box(b"CMT1", block))
    moov = box(b"moov", box(b"trak", bytes(20)) + inner)
    path.write_bytes(box(b"ftyp", b"crx \0\0\0\x01") + box(b"free", bytes(9)) + moov)


def blocked(path: Path, tags: FileTags) -> None:
    """A raw format of named blocks."""
    block = exif_block(tags, SHAPE)
    parts = struct.pack(">4sI", b"\0PRD", 6) + bytes(6) + struct.pack(">4sI", b"\0TTW", len(block))
    path.write_bytes(struct.pack(">4sI", b"\0MRM", 999) + parts + block)


WRITERS: dict[str, Writer] = {
    "JPEG": jpeg,
    "TIFF": tiff,
    "PNG": png,
    "DNG": dng,
    "IIRO": retitled(b"IIRO"),
    "IIRS": retitled(b"IIRS"),
    "IIU": retitled(b"IIU\0"),
    "embedded JPEG": embedded,
    "inner JPEG": inner_jpeg,
    "boxes": boxed,
    "blocks": blocked,
}


@pytest.mark.parametrize("kind", WRITERS)
def test_every_tag_is_read_from_every_container(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "frame.bin"
    WRITERS[kind](path, TAGS)
    with path.open("rb") as stream:
        assert exif_metadata(stream) == EXPECTED


@pytest.mark.parametrize("kind", WRITERS)
def test_absent_tags_are_unknown(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "frame.bin"
    WRITERS[kind](path, FileTags(orientation=None))
    with path.open("rb") as stream:
        found = exif_metadata(stream)
    sizes = SensorHints(focal_plane_width_px=58, focal_plane_height_px=40)
    assert found == Metadata(hints=sizes)


@pytest.mark.parametrize(
    ("name", "kind", "size"),
    [("a.jpg", "JPEG", SHAPE), ("a.tif", "TIFF", SHAPE), ("a.png", "PNG", SHAPE)],
)
def test_size_is_told_without_decoding(
    tmp_path: Path, name: str, kind: str, size: tuple[int, int]
) -> None:
    path = tmp_path / name
    WRITERS[kind](path, TAGS)
    head = read_metadata(path)
    assert (head.height_px, head.width_px) == size
    assert head.metadata == EXPECTED


def test_size_of_a_raw_file_is_that_of_its_visible_area(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    samples = np.full((60, 90), 150, np.uint16)
    write_dng(path, samples, cfa="RGGB", black=0, white=999, tags=TAGS, margins=(10, 8, 4, 6))
    head = read_metadata(path)
    assert (head.kind, head.height_px, head.width_px) == ("raw", 46, 76)


def test_size_of_a_raw_file_that_the_decoder_refuses_is_unknown(tmp_path: Path) -> None:
    path = tmp_path / "a.nef"
    retitled(b"MMOR")(path, TAGS)
    head = read_metadata(path)
    assert (head.kind, head.height_px) == ("raw", None)


def test_markers_of_a_jpeg_may_be_padded(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    jpeg(path, TAGS)
    content = path.read_bytes()
    path.write_bytes(content[:2] + b"\xff\x01\xff\xff\xff" + content[2:])
    with path.open("rb") as stream:
        assert exif_metadata(stream) == EXPECTED


def test_boxes_may_be_long_or_broken(tmp_path: Path) -> None:
    path = tmp_path / "a.cr3"
    boxed(path, TAGS)
    content = path.read_bytes()
    long = struct.pack(">I4sQ", 1, b"free", 24) + bytes(8)
    first = struct.unpack(">I", content[:4])[0]
    path.write_bytes(content[:first] + long + content[first:])
    with path.open("rb") as stream:
        assert exif_metadata(stream) == EXPECTED
    path.write_bytes(content[:first] + struct.pack(">I4s", 3, b"free") + content[first:])
    with path.open("rb") as stream:
        assert exif_metadata(stream) == Metadata()


@pytest.mark.parametrize("n_bytes", range(0, 60, 3))
def test_files_that_end_early_have_less_to_say(tmp_path: Path, n_bytes: int) -> None:
    for write in WRITERS.values():
        write(tmp_path / "a", TAGS)
        content = (tmp_path / "a").read_bytes()
        assert exif_metadata(io.BytesIO(content[:n_bytes])) == Metadata()


def test_broken_exif_leaves_the_picture(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    jpeg(path, replace(TAGS, orientation=1))
    content = bytearray(path.read_bytes())
    at = content.index(b"II*\0")
    content[at : at + 200] = b"\xff" * 200
    path.write_bytes(bytes(content))
    head = read_metadata(path)
    assert head.metadata == Metadata()
    assert (head.height_px, head.width_px) == SHAPE
