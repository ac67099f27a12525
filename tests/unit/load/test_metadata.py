"""Metadata from every container, absurd values, and maker notes."""

import io
import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pytest

from motemap.load import read_metadata
from motemap.load.exif.metadata import exif_metadata
from motemap.records import Camera, Exposure, Metadata, SensorHints
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff
from motemap.synth.files.exif import exif_block

SHAPE = (40, 58)
TAGS = FileTags(
    maker="Norrland Optik",
    model="Ratal 3",
    serial="NL-00417",
    lens="Ratal 50mm f/2",
    f_number=22.0,
    iso=100,
    shutter_s=1 / 250,
    focal_length_mm=50.0,
    taken_at="2025-03-14T09:26:53.250000+02:00",
    orientation=6,
    focal_plane_pitch_um=4.0,
    focal_length_35mm=75.0,
)
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


# --- blocks written by hand ------------------------------------------------------------------

Row = tuple[int, int, int, bytes]


def directory(rows: list[Row], start: int, order: str) -> bytes:
    """Pack rows of (tag, type, count, value), long values after the table."""
    table, spill = struct.pack(f"{order}H", len(rows)), b""
    spill_at = start + 2 + 12 * len(rows) + 4
    for tag, kind, n_values, value in rows:
        if len(value) <= 4:
            cell = value.ljust(4, b"\0")
        else:
            cell = struct.pack(f"{order}I", spill_at + len(spill))
            spill += value
        table += struct.pack(f"{order}HHI", tag, kind, n_values) + cell
    return table + bytes(4) + spill


def block(base: list[Row], exif: list[Row] | None = None, order: str = "<") -> BinaryIO:
    magic = b"II*\0" if order == "<" else b"MM\0*"
    head = magic + struct.pack(f"{order}I", 8)
    if exif is None:
        return io.BytesIO(head + directory(base, 8, order))
    exif_at = 8 + len(directory([*base, (0x8769, 4, 1, bytes(4))], 8, order))
    pointer = (0x8769, 4, 1, struct.pack(f"{order}I", exif_at))
    return io.BytesIO(
        head + directory([*base, pointer], 8, order) + directory(exif, exif_at, order)
    )


def fraction(tag: int, upper: int, lower: int, order: str = "<") -> Row:
    return tag, 5, 1, struct.pack(f"{order}II", upper, lower)


def short(tag: int, *values: int, order: str = "<") -> Row:
    return tag, 3, len(values), struct.pack(f"{order}{len(values)}H", *values)


def words(tag: int, said: bytes) -> Row:
    return tag, 2, len(said), said


@pytest.mark.parametrize("order", ["<", ">"])
def test_tags_count_in_either_directory(order: str) -> None:
    rows = [fraction(0x829D, 16, 1, order), short(0x8827, 200, order=order)]
    flat = exif_metadata(block(rows, order=order))
    nested = exif_metadata(block([], rows, order=order))
    assert flat.exposure == nested.exposure == Exposure(f_number=16.0, iso=200.0)


@pytest.mark.parametrize(
    "row",
    [
        fraction(0x829D, 2, 10),
        fraction(0x829D, 0, 1),
        fraction(0x829D, 22, 0),
        fraction(0x829D, 4000, 1),
        (0x829D, 5, 0, b""),
        short(0x8827, 0),
        fraction(0x829A, 0, 1),
        fraction(0x829A, 4_000_000_000, 1),
        fraction(0x920A, 0, 1),
        short(0x0112, 0),
        short(0x0112, 9),
        words(0x9003, b"0000:00:00 00:00:00\0"),
        words(0x9003, b"2025:13:40 09:26:53\0"),
        words(0x9003, b"    :  :     :  :  \0"),
        words(0x010F, b"   \0"),
        words(0x0110, b"\0\0\0\0\0"),
        words(0xA434, b"----\0"),
        words(0xA431, b"0000000\0"),
        fraction(0xA20E, 0, 1),
        fraction(0xA20E, 1, 1),
        short(0xA405, 0),
        (0xA002, 4, 1, struct.pack("<I", 0)),
        (0x8827, 99, 1, b"\1\0\0\0"),
    ],
    ids=lambda row: f"{row[0]:04x} {row[3].hex()}",
)
def test_absurd_values_are_unknown(row: Row) -> None:
    assert exif_metadata(block([], [row])) == Metadata()


def test_a_tag_of_several_numbers_counts_with_its_first() -> None:
    rows = [short(0xA002, 6000, 4000), short(0x8827, 200, 0)]
    found = exif_metadata(block([], rows))
    assert (found.hints.focal_plane_width_px, found.exposure.iso) == (6000, 200.0)


@pytest.mark.parametrize(
    ("unit", "per_unit", "pitch_um"),
    [(2, (5080, 1), 5.0), (3, (2000, 1), 5.0), (4, (200, 1), 5.0), (None, (5080, 1), 5.0)],
)
def test_pitch_in_every_unit(unit: int | None, per_unit: tuple[int, int], pitch_um: float) -> None:
    rows = [fraction(0xA20E, *per_unit)] + ([short(0xA210, unit)] if unit else [])
    assert exif_metadata(block([], rows)).hints.focal_plane_pitch_um == pytest.approx(pitch_um)


def test_large_sensitivities_have_their_own_tag() -> None:
    rows = [short(0x8827, 65535), (0x8832, 4, 1, struct.pack("<I", 102400))]
    assert exif_metadata(block([], rows)).exposure.iso == 102400.0


def test_apex_values_stand_in_for_absent_tags_only() -> None:
    rows = [
        fraction(0x9202, 8, 1),
        (0x9201, 10, 1, struct.pack("<ii", 7, 1)),
    ]
    found = exif_metadata(block([], rows)).exposure
    assert (found.f_number, found.shutter_s) == (16.0, 1 / 128)
    # A manual lens: f-number 0, and an aperture value that would make it f/1.
    manual = [fraction(0x829D, 0, 1), fraction(0x9202, 0, 1)]
    assert exif_metadata(block([], manual)).exposure.f_number is None


def test_text_is_freed_of_control_characters() -> None:
    rows = [words(0x010F, b"Nor\x1b[31mrland \x07\x00junk"), words(0x0110, b"R\xe4tal\n3")]
    camera = exif_metadata(block(rows)).camera
    assert (camera.maker, camera.model) == ("Nor [31mrland", "Rätal 3")


@pytest.mark.parametrize(
    ("said", "serial"),
    [
        (b"NO= 2002a3f1\x00\xff\xfe", "2002a3f1"),
        (b"NO=        20029b7", "20029b7"),
        (b"  00012345", "00012345"),
        (b"SN 4711", "4711"),
    ],
)
def test_serials_lose_what_is_in_front(said: bytes, serial: str) -> None:
    assert exif_metadata(block([], [words(0xA431, said)])).camera.serial == serial


def note_block(note: bytes, maker: bytes = b"Norrland\0", order: str = "<") -> BinaryIO:
    return block([words(0x010F, maker)], [(0x927C, 7, len(note), note)], order)


def own_header_note() -> bytes:
    rows = [short(0x0002, 0, 640, order=">"), words(0x1D, b"4400123\0")]
    inner = b"MM\0*\0\0\0\x08" + directory(rows, 8, ">")
    return b"Nikon\0\x02\x11\0\0" + inner


def relative_note(lead: bytes, row: Row, order: str = "<") -> bytes:
    return lead + directory([row], len(lead), order)


@pytest.mark.parametrize(
    ("note", "serial"),
    [
        (own_header_note(), "4400123"),
        (relative_note(b"OLYMPUS\0II\x03\0", words(0x0404, b"J5600123\0")), "J5600123"),
        (relative_note(b"OM SYSTEM\0\0\0II\x04\0", words(0x0404, b"BJ123456\0")), "BJ123456"),
        (relative_note(b"PENTAX \0MM", words(0x0229, b"7654321\0"), ">"), "7654321"),
        (relative_note(b"FUJIFILM\x0c\0\0\0", words(0x0010, b"FC123 592D\0")), "FC123 592D"),
    ],
    ids=["own header", "little", "newer", "big", "offset"],
)
def test_serials_in_notes_with_offsets_of_their_own(note: bytes, serial: str) -> None:
    assert exif_metadata(note_block(note)).camera.serial == serial


def test_sensitivity_only_in_the_notes() -> None:
    note = own_header_note()
    assert exif_metadata(note_block(note)).exposure.iso == 640.0
    with_tag = block([], [short(0x8827, 200), (0x927C, 7, len(note), note)])
    assert exif_metadata(with_tag).exposure.iso == 200.0


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_serial_as_a_number_in_notes_without_a_signature(order: str) -> None:
    note = directory([(0x000C, 4, 1, struct.pack(f"{order}I", 1234567))], 0, order)
    assert exif_metadata(note_block(note, b"Canon\0", order)).camera.serial == "1234567"
    assert exif_metadata(note_block(note, b"Norrland\0", order)).camera.serial is None


def test_a_serial_in_a_directory_inside_the_notes() -> None:
    lead = b"OLYMPUS\0II\x03\0"
    equipment_at = len(lead) + 2 + 12 + 4
    outer = directory([(0x2010, 13, 1, struct.pack("<I", equipment_at))], len(lead), "<")
    inner = directory([words(0x0101, b"H51530396\0")], equipment_at, "<")
    assert exif_metadata(note_block(lead + outer + inner)).camera.serial == "H51530396"


def test_the_standard_serial_comes_before_that_of_the_notes() -> None:
    note = own_header_note()
    rows = [(0x927C, 7, len(note), note), words(0xA431, b"77\0\0\0")]
    assert exif_metadata(block([], rows)).camera.serial == "77"


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


def test_a_directory_that_points_to_itself_ends() -> None:
    content = b"II*\0\x08\0\0\0\x01\0" + struct.pack("<HHII", 0x8769, 4, 1, 8) + bytes(4)
    assert exif_metadata(io.BytesIO(content)) == Metadata()


def test_a_directory_that_claims_too_much_costs_nothing() -> None:
    huge = struct.pack("<HHII", 0x010F, 2, 0xFFFFFFFF, 0x10)
    content = b"II*\0\x08\0\0\0\xff\xff" + huge + bytes(40)
    assert exif_metadata(io.BytesIO(content)).camera.model is None


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
