"""Metadata against two readers by other authors.

Authorities: exiftool by P. Harvey (Debian package libimage-exiftool-perl, 12.57 when this was
written), and ExifRead (PyPI). Both must be installed; their absence is a failure. Serial
numbers in makers' notes are checked against exiftool, which knows those notes best. The notes
are written here, with invented numbers; makers' names stand in them because the formats ask
for it.
"""

import json
import struct
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import exifread
import numpy as np
import pytest

from loading.tags import FULL
from motemap.load import read_metadata
from motemap.records import Metadata
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff

pytestmark = pytest.mark.external

SHAPE = (40, 58)
GREY = np.full(SHAPE, 150, np.uint8)
TAGS = replace(
    FULL, f_number=22.6, iso=250, shutter_s=1 / 320, focal_length_mm=52.5, focal_length_35mm=80.0
)
SPARSE = FileTags(maker="Å & Søn", f_number=8.0, orientation=1)

Writer = Callable[[Path, FileTags], None]
WRITERS: dict[str, Writer] = {
    "a.jpg": lambda path, tags: write_jpeg(path, GREY, quality=90, tags=tags),
    "a.tif": lambda path, tags: write_tiff(path, GREY, tags=tags),
    "a.png": lambda path, tags: write_png(path, GREY, tags=tags),
    "a.dng": lambda path, tags: write_dng(
        path, GREY.astype(np.uint16), cfa="RGGB", black=0, white=999, tags=tags
    ),
}


def by_exiftool(path: Path) -> dict[str, Any]:
    """Return exiftool's answer, numbers as numbers."""
    done = subprocess.run(
        ["exiftool", "-j", "-n", "-charset", "filename=utf8", str(path)],
        capture_output=True,
        check=True,
    )
    answer: dict[str, Any] = json.loads(done.stdout)[0]
    return answer


def told(metadata: Metadata) -> dict[str, Any]:
    """Return our answer under exiftool's names."""
    camera, exposure, hints = metadata.camera, metadata.exposure, metadata.hints
    pitch_um = hints.focal_plane_pitch_um
    return {
        "Make": camera.maker,
        "Model": camera.model,
        "SerialNumber": camera.serial,
        "LensModel": camera.lens,
        "FNumber": exposure.f_number,
        "ISO": exposure.iso,
        "ExposureTime": exposure.shutter_s,
        "FocalLength": exposure.focal_length_mm,
        "Orientation": metadata.exif_orientation,
        "FocalLengthIn35mmFormat": hints.focal_length_35mm,
        "FocalPlaneXResolution": None if pitch_um is None else 1e4 / pitch_um,
        "ExifImageWidth": hints.focal_plane_width_px,
        "ExifImageHeight": hints.focal_plane_height_px,
        "DateTimeOriginal": exposure.taken_at,
    }


def in_iso(said: str, zone: str) -> str:
    """Return an Exif date as ISO 8601."""
    return said.replace(":", "-", 2).replace(" ", "T") + zone


@pytest.mark.parametrize("name", WRITERS)
@pytest.mark.parametrize("tags", [TAGS, SPARSE], ids=["full", "sparse"])
def test_every_tag_is_as_exiftool_says(tmp_path: Path, name: str, tags: FileTags) -> None:
    path = tmp_path / name
    WRITERS[name](path, tags)
    answer = by_exiftool(path)
    if "DateTimeOriginal" in answer:
        zone = answer.get("OffsetTimeOriginal", "")
        answer["DateTimeOriginal"] = in_iso(answer["DateTimeOriginal"], zone)
    for key, ours in told(read_metadata(path).metadata).items():
        theirs = answer.get(key)
        # exiftool rounds fractions to ten digits.
        wanted = pytest.approx(theirs, rel=1e-9) if isinstance(theirs, float) else theirs
        assert ours == wanted, key


@pytest.mark.parametrize("name", ["a.jpg", "a.tif", "a.png", "a.dng"])
def test_every_tag_is_as_exifread_says(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    WRITERS[name](path, TAGS)
    with path.open("rb") as stream:
        found = exifread.process_file(stream, details=False)
    ours = told(read_metadata(path).metadata)
    same = {
        "Make": "Image Make",
        "Model": "Image Model",
        "SerialNumber": "EXIF BodySerialNumber",
        "LensModel": "EXIF LensModel",
    }
    assert {key: str(found[tag]) for key, tag in same.items()} == {key: ours[key] for key in same}
    numbers = {
        "FNumber": "EXIF FNumber",
        "ISO": "EXIF ISOSpeedRatings",
        "ExposureTime": "EXIF ExposureTime",
        "FocalLength": "EXIF FocalLength",
        "Orientation": "Image Orientation",
        "FocalLengthIn35mmFormat": "EXIF FocalLengthIn35mmFilm",
        "ExifImageWidth": "EXIF ExifImageWidth",
        "ExifImageHeight": "EXIF ExifImageLength",
        "FocalPlaneXResolution": "EXIF FocalPlaneXResolution",
    }
    for key, tag in numbers.items():
        assert float(found[tag].values[0]) == pytest.approx(ours[key], rel=1e-9), key


# --- makers' notes ---------------------------------------------------------------------------

Row = tuple[int, int, int, bytes]


def directory(rows: list[Row], start: int, order: str) -> bytes:
    """Pack rows of (tag, type, count, value), long values after the table."""
    table, spill = struct.pack(f"{order}H", len(rows)), b""
    spill_at = start + 2 + 12 * len(rows) + 4
    for tag, kind, n_values, value in rows:
        cell = value.ljust(4, b"\0")
        if len(value) > 4:
            cell = struct.pack(f"{order}I", spill_at + len(spill))
            spill += value
        table += struct.pack(f"{order}HHI", tag, kind, n_values) + cell
    return table + bytes(4) + spill


def words(tag: int, said: bytes) -> Row:
    return tag, 2, len(said), said


def headed() -> bytes:
    inner = directory([words(0x1D, b"4400123\0")], 8, ">")
    return b"Nikon\0\x02\x11\0\0MM\0*\0\0\0\x08" + inner


def relative(lead: bytes, row: Row, order: str = "<") -> bytes:
    return lead + directory([row], len(lead), order)


NOTES = {
    "headed": (b"NIKON CORPORATION", b"NIKON D70", headed()),
    "numbered": (
        b"Canon",
        b"Canon EOS 5D",
        directory([(0x000C, 4, 1, struct.pack("<I", 1234567))], 0, "<"),
    ),
    "relative": (
        b"PENTAX",
        b"PENTAX K-5",
        relative(b"PENTAX \0MM", words(0x0229, b"7654321\0"), ">"),
    ),
}


def with_note(path: Path, maker: bytes, model: bytes, note: bytes) -> None:
    """Write a JPEG whose Exif block ends in a maker's note."""
    base_rows = [words(0x010F, maker + b"\0"), words(0x0110, model + b"\0")]
    exif_at = 8 + len(directory([*base_rows, (0x8769, 4, 1, bytes(4))], 8, "<"))
    pointer = (0x8769, 4, 1, struct.pack("<I", exif_at))
    base = directory([*base_rows, pointer], 8, "<")
    shot = directory([(0x927C, 7, len(note), note)], exif_at, "<")
    block = b"Exif\0\0II*\0\x08\0\0\0" + base + shot
    write_jpeg(path, GREY, quality=90, tags=FileTags())
    content = path.read_bytes()
    segment = b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block
    path.write_bytes(content[:2] + segment + content[2:])


@pytest.mark.parametrize("kind", NOTES)
def test_serials_of_notes_are_as_exiftool_says(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.jpg"
    with_note(path, *NOTES[kind])
    theirs = str(by_exiftool(path)["SerialNumber"])
    assert theirs != "0"
    assert read_metadata(path).metadata.camera.serial == theirs
