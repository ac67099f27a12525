"""Small files that claim, or unpack to, more than any computer holds."""

import json
import lzma
import os
import struct
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image

from faults.program import run
from faults.samples import SAMPLES
from faults.structure import chunks, segments, tag_places, with_checksums
from faults.trial import Trial

MOST_MB = 400
"""The program itself takes some 90 MB; each of these would take gigabytes."""

BLOCK = bytes(1 << 24)


@pytest.fixture(scope="module")
def trial() -> Iterator[Trial]:
    with Trial() as trial:
        yield trial


def said(trial: Trial, path: Path) -> str:
    """Return why a file is refused, having checked that it is, quickly and within memory."""
    answer = trial.judge(path)
    assert answer.complaints("json") == []
    assert answer.code == 1
    assert answer.peak_mb < MOST_MB
    assert answer.cpu_s < 5
    (frame,) = json.loads(answer.stdout)["frames"]
    return str(frame["error"]["cause"])


def packed_tiff(compression: int, packed: bytes) -> bytes:
    """Return a grey TIFF of 640 x 480 pixels in one strip."""
    entries = [
        (256, 640),
        (257, 480),
        (258, 8),
        (259, compression),
        (262, 1),
        (273, 122),
        (277, 1),
        (278, 480),
        (279, len(packed)),
    ]
    table = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in entries)
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + table + bytes(4) + packed


def deflated(n_blocks: int) -> bytes:
    """Return so many blocks of 16 MB of zeros, packed: they can be repeated as they are."""
    packer = zlib.compressobj(9)
    first = packer.compress(BLOCK) + packer.flush(zlib.Z_FULL_FLUSH)
    other = packer.compress(BLOCK) + packer.flush(zlib.Z_FULL_FLUSH)
    return first + other * (n_blocks - 1) + packer.flush()


def lzma_packed() -> bytes:
    packer = lzma.LZMACompressor(preset=0)
    return b"".join(packer.compress(BLOCK) for _ in range(40)) + packer.flush()


PACKED: dict[str, Callable[[], bytes]] = {
    "deflate": lambda: packed_tiff(8, deflated(180)),  # 3 GB
    "lzma": lambda: packed_tiff(34925, lzma_packed()),  # 0.7 GB
}


@pytest.mark.parametrize("way", PACKED)
def test_strips_that_unpack_without_bound(tmp_path: Path, trial: Trial, way: str) -> None:
    place = tmp_path / "bomb.tif"
    place.write_bytes(PACKED[way]())
    assert place.stat().st_size < 4_000_000
    assert "more pixels than its size has room for" in said(trial, place)


def test_a_strip_of_runs_that_are_too_long(tmp_path: Path, trial: Trial) -> None:
    place = tmp_path / "bomb.tif"
    place.write_bytes(packed_tiff(32773, b"\x81\x80" * 10_000_000))  # 1.3 GB
    answer = trial.judge(place)
    assert answer.complaints("json") == []
    assert answer.peak_mb < MOST_MB


@pytest.mark.parametrize("name", ["colour.png", "wide.png", "palette.png"])
def test_a_png_that_claims_900_megapixels(tmp_path: Path, trial: Trial, name: str) -> None:
    place = tmp_path / name
    SAMPLES[name](place)
    content = bytearray(place.read_bytes())
    struct.pack_into(">II", content, next(chunks(bytes(content))).start + 8, 30_000, 30_000)
    place.write_bytes(with_checksums(bytes(content)))
    assert "30000 x 30000" in said(trial, place)


def test_a_whole_png_of_900_megapixels(tmp_path: Path, trial: Trial) -> None:
    place = tmp_path / "huge.png"
    header = struct.pack(">IIBBBBB", 30_000, 30_000, 1, 0, 0, 0, 0)
    packer = zlib.compressobj(1)
    rows = (bytes(3751) for _ in range(30_000))
    pixels = b"".join(packer.compress(row) for row in rows) + packer.flush()
    parts = (b"IHDR" + header, b"IDAT" + pixels, b"IEND")
    framed = (struct.pack(">I", len(part) - 4) + part + bytes(4) for part in parts)
    place.write_bytes(with_checksums(b"\x89PNG\r\n\x1a\n" + b"".join(framed)))
    assert "900 megapixels" in said(trial, place)


@pytest.mark.parametrize("name", ["colour.tif", "deflate.tif", "lzw.tif", "rggb.dng"])
def test_tiffs_that_claim_terabytes(tmp_path: Path, trial: Trial, name: str) -> None:
    place = tmp_path / name
    SAMPLES[name](place)
    place.write_bytes(with_sides(place.read_bytes(), 2_000_000))
    cause = said(trial, place)
    # The raw decoder refuses such sides by itself, and does not say more than that.
    assert "4000000 megapixels" in cause or "damaged" in cause or "does not know" in cause


@pytest.mark.parametrize("name", ["colour.jpg", "progressive.jpg"])
def test_a_jpeg_that_claims_4_gigapixels(tmp_path: Path, trial: Trial, name: str) -> None:
    place = tmp_path / name
    SAMPLES[name](place)
    content = bytearray(place.read_bytes())
    frame = next(each for each in segments(bytes(content)) if each.marker in (0xC0, 0xC2))
    struct.pack_into(">HH", content, frame.start + 5, 65_500, 65_500)
    place.write_bytes(content)
    assert "4290 megapixels" in said(trial, place)


def test_a_jpeg_that_is_held_as_frequencies(tmp_path: Path, trial: Trial) -> None:
    """380 megapixels in one scan are read; in several they would be held in 2.7 GB."""
    place = tmp_path / "progressive.jpg"
    SAMPLES["progressive.jpg"](place)
    content = bytearray(place.read_bytes())
    frame = next(each for each in segments(bytes(content)) if each.marker == 0xC2)
    struct.pack_into(">HH", content, frame.start + 5, 19_000, 20_000)
    place.write_bytes(content)
    assert "380 megapixels" in said(trial, place)


def test_a_jpeg_of_very_many_scans(tmp_path: Path, trial: Trial) -> None:
    """Each scan is 73 bytes long and goes over all 48 megapixels again."""
    place = tmp_path / "scans.jpg"
    Image.new("L", (8000, 6000), 150).save(place, progressive=True, quality=30)
    content = place.read_bytes()
    at = content.rindex(b"\xff\xda")
    scan = content[at:-2]
    place.write_bytes(content[:-2] + scan * 3000 + content[-2:])
    assert "more than 100 scans" in said(trial, place)


def with_sides(content: bytes, side_px: int) -> bytes:
    """Return a TIFF or DNG that claims to be square and so many pixels wide."""
    forged = bytearray(content)
    for tag in tag_places(content):
        (number,) = struct.unpack_from(f"{tag.order}H", content, tag.at)
        if number in (256, 257):
            struct.pack_into(f"{tag.order}HII", forged, tag.at + 2, 4, 1, side_px)
    return bytes(forged)


def test_a_raw_with_all_colours_at_each_pixel(tmp_path: Path, trial: Trial) -> None:
    """The decoder holds eight bytes a pixel of these: 2 GB. Of one colour a pixel they are read."""
    place = tmp_path / "linear.dng"
    SAMPLES["linear.dng"](place)
    place.write_bytes(with_sides(place.read_bytes(), 15_800))
    assert "249 megapixels" in said(trial, place)
    SAMPLES["mono.dng"](place)
    place.write_bytes(with_sides(place.read_bytes(), 15_800))
    answer = trial.judge(place)
    assert answer.complaints("json") == []
    assert "megapixels" not in answer.stdout


@pytest.mark.parametrize(
    ("name", "head"),
    [
        ("huge.jpg", b"\xff\xd8\xff\xe0\0\x10JFIF\0"),
        ("huge.png", b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\x10\0\0\0\x10\0\x08\0\0\0\0"),
        ("huge.tif", b"II*\0\x08\0\0\0"),
        ("huge.dng", b"II*\0\x08\0\0\0"),
        ("huge.cr3", bytes(4) + b"ftypcrx "),
        ("huge.nef", b""),
        ("huge.raf", b"FUJIFILMCCD-RAW "),
    ],
)
def test_sparse_files_of_20_gigabytes(tmp_path: Path, trial: Trial, name: str, head: bytes) -> None:
    place = tmp_path / name
    place.write_bytes(head)
    os.truncate(place, 20_000_000_000)
    answer = trial.judge(place)
    assert answer.complaints("json") == []
    assert answer.code == 1
    assert answer.peak_mb < 1000


def test_standard_input_without_end() -> None:
    with Path("/dev/zero").open("rb") as endless:
        result = run("check", "-", stdin=endless)
    assert (result.returncode, result.stderr) == (1, b"")
    assert b"nothing but zeros" in result.stdout
