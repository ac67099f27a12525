"""Tags written by hand: absurd values, and maker notes."""

import io
import struct
from typing import BinaryIO

import pytest

from loading.directories import Row, block, directory, fraction, short, words
from motemap.load.exif.metadata import exif_metadata
from motemap.records import Exposure, Metadata


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


def test_a_directory_that_points_to_itself_ends() -> None:
    content = b"II*\0\x08\0\0\0\x01\0" + struct.pack("<HHII", 0x8769, 4, 1, 8) + bytes(4)
    assert exif_metadata(io.BytesIO(content)) == Metadata()


def test_a_directory_that_claims_too_much_costs_nothing() -> None:
    huge = struct.pack("<HHII", 0x010F, 2, 0xFFFFFFFF, 0x10)
    content = b"II*\0\x08\0\0\0\xff\xff" + huge + bytes(40)
    assert exif_metadata(io.BytesIO(content)).camera.model is None
