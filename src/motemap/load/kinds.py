"""What kind of picture a file is, told by its content first and its name second."""

from __future__ import annotations

import io
from pathlib import PurePath
from typing import TYPE_CHECKING, BinaryIO

from motemap.errors import UnreadableFile, UnsupportedFile
from motemap.load.exif.blocks import (
    BOX_NAME,
    BOX_RAW_BRAND,
    JPEG_MAGIC,
    MRW_MAGIC,
    PNG_MAGIC,
    RAF_MAGIC,
)
from motemap.load.exif.directory import MAGICS, read_at, read_directory, read_header, read_numbers

if TYPE_CHECKING:
    from motemap.errors import LoadError
    from motemap.records import ImageKind

RAW_SUFFIXES = frozenset(
    [
        ".3fr",
        ".ari",
        ".arw",
        ".bay",
        ".cap",
        ".cr2",
        ".cr3",
        ".crw",
        ".dcr",
        ".dcs",
        ".dng",
        ".erf",
        ".fff",
        ".gpr",
        ".iiq",
        ".k25",
        ".kdc",
        ".mdc",
        ".mef",
        ".mos",
        ".mrw",
        ".nef",
        ".nrw",
        ".orf",
        ".pef",
        ".ptx",
        ".raf",
        ".raw",
        ".rw2",
        ".rwl",
        ".sr2",
        ".srf",
        ".srw",
        ".x3f",
    ]
)
"""Names under which cameras write raw files (common practice, no source)."""

_PICTURE_SUFFIXES: dict[str, ImageKind] = {
    ".jpg": "jpeg",
    ".jpeg": "jpeg",
    ".jpe": "jpeg",
    ".tif": "tiff",
    ".tiff": "tiff",
    ".png": "png",
    **dict.fromkeys(RAW_SUFFIXES, "raw"),
}
_TIFF_MAGICS = (b"II*\0", b"MM\0*")
_BIG_TIFF_MAGICS = (b"II+\0", b"MM\0+")
_RAW_MAGICS = (RAF_MAGIC, b"FOVb", MRW_MAGIC, b"II\x1a\0\0\0HEAPCCDR", *MAGICS[2:])
_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif")
_OTHER_PICTURES = {
    b"GIF8": "GIF",
    b"BM": "BMP",
    b"8BPS": "PSD",
    b"\xff\x0a": "JPEG XL",
    b"\0\0\0\x0cJXL ": "JPEG XL",
    b"\0\0\0\x0cjP  ": "JPEG 2000",
    b"\xff\x4f\xff\x51": "JPEG 2000",
    b"qoif": "QOI",
    b"%PDF": "PDF",
}
# Tags and values by TIFF 6.0, TIFF/EP and DNG.
_PHOTOMETRIC, _N_SAMPLES, _NESTED, _DNG_VERSION = 0x0106, 0x0115, 0x014A, 0xC612
_CFA_PHOTOMETRIC, _LINEAR_PHOTOMETRIC = 32803, 34892
_LARGEST_OFFSET = 2**32 - 1
_TEXT_BYTES = 512
"""Beginning of a file that is looked at, whether it is text."""
_LONGEST_MAGIC = 32
_LONGEST_LETTER_BYTES = 4
_SAVE = "Save the shot as JPEG, TIFF or raw and check that file."


def identify(head: bytes, name: str) -> ImageKind | None:
    r"""Tell what kind of picture begins with `head`; None when it is none that is read here.

    A file whose content is not known but whose name is that of a picture counts as one, so
    that a damaged picture is reported instead of being passed over.

    Parameters
    ----------
    head : bytes
        The first bytes, at best `motemap.load.HEAD_BYTES` of them.
    name : str
        The file's name; only its suffix counts.

    Examples
    --------
    >>> identify(b"\xff\xd8\xff\xe1", "shot.nef")
    'jpeg'
    >>> identify(b"some words", "shot.nef")
    'raw'
    >>> identify(b"some words", "shot.xmp") is None
    True
    """
    kind = _kind_by_content(io.BytesIO(head), PurePath(name).suffix.lower())
    if kind is not None or _other_picture(head):
        return kind
    return _PICTURE_SUFFIXES.get(PurePath(name).suffix.lower())


def readable_kind(stream: BinaryIO, name: str) -> ImageKind:
    """Tell what kind of picture a whole file is.

    Raises
    ------
    LoadError
        When its content is not that of a picture read here. Of unknown content under the name
        of a raw file the decoder is asked: there are more raw formats than are listed here.
    """
    suffix = PurePath(name).suffix.lower()
    kind = _kind_by_content(stream, suffix)
    if kind is not None:
        return kind
    head = read_at(stream, 0, _TEXT_BYTES)
    if suffix in RAW_SUFFIXES and not (_other_picture(head) or _is_text(head)):
        return "raw"
    raise _refusal(head)


def _kind_by_content(stream: BinaryIO, suffix: str) -> ImageKind | None:
    """Return the kind that the first bytes tell; None for one that is not read here."""
    head = read_at(stream, 0, _LONGEST_MAGIC)
    plain: dict[bytes, ImageKind] = {
        JPEG_MAGIC: "jpeg",
        PNG_MAGIC: "png",
        _BIG_TIFF_MAGICS[0]: "tiff",
        _BIG_TIFF_MAGICS[1]: "tiff",
        **dict.fromkeys(_RAW_MAGICS, "raw"),
    }
    if head.startswith(_TIFF_MAGICS):
        return "raw" if _is_raw_tiff(stream, suffix) else "tiff"
    if head[4:12] == BOX_NAME + BOX_RAW_BRAND:
        return "raw"
    return next((kind for magic, kind in plain.items() if head.startswith(magic)), None)


def is_picture(head: bytes, name: str) -> bool:
    """Whether a file is a picture at all, also one of a kind that is not read here."""
    return identify(head, name) is not None or _other_picture(head) is not None


def _is_raw_tiff(stream: BinaryIO, suffix: str) -> bool:
    """Tell a raw file from a picture: both begin alike, and decoders of either open both."""
    opened = read_header(stream, 0)
    if opened is None:
        return suffix in RAW_SUFFIXES
    place, first = opened
    if _DNG_VERSION in read_directory(stream, place, first, {_DNG_VERSION}):
        return True
    values = read_numbers(stream, place, first, _PHOTOMETRIC)
    is_sensor = bool(values) and values[0] in {_CFA_PHOTOMETRIC, _LINEAR_PHOTOMETRIC}
    return is_sensor or suffix in RAW_SUFFIXES


def has_all_colours(stream: BinaryIO) -> bool:
    """Whether a raw file built like a TIFF holds several colours at each pixel."""
    opened = read_header(stream, 0)
    if opened is None:
        return False
    place, first = opened
    nested = (at for at in read_numbers(stream, place, first, _NESTED) if 0 < at <= _LARGEST_OFFSET)
    return any(
        read_numbers(stream, place, int(offset), _PHOTOMETRIC)[:1] == (_LINEAR_PHOTOMETRIC,)
        and max(read_numbers(stream, place, int(offset), _N_SAMPLES), default=1) > 1
        for offset in (first, *nested)
    )


def _other_picture(head: bytes) -> str | None:
    """Name the kind of a picture that is not read here."""
    if head[4:8] == BOX_NAME and head[8:12] in _HEIF_BRANDS:
        return "HEIF"
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return "WebP"
    names = (name for magic, name in _OTHER_PICTURES.items() if head.startswith(magic))
    return next(names, None)


def _refusal(head: bytes) -> LoadError:
    """Return the error that says why content of no known kind is not read."""
    other = _other_picture(head)
    if other is not None:
        return UnsupportedFile(f"{other} pictures are not read.", repair=_SAVE)
    repair = "Copy it from the card again, or name another file."
    if not head.strip(b"\0"):
        cause = "The file holds nothing but zeros."
    elif _is_text(head):
        cause = "The file holds text, not a picture."
        # No damage: another copy of it would hold the same.
        repair = "Name a JPEG, TIFF, PNG or raw file."
    else:
        cause = "The file does not begin like any picture that is known here."
    return UnreadableFile(cause, repair=repair)


def _is_text(head: bytes) -> bool:
    """Whether bytes read as text; a letter cut at the end does no harm, and zeros are text."""
    words = head.decode("utf-8", "ignore")
    is_whole = len(head) - len(words.encode()) < _LONGEST_LETTER_BYTES
    shown = (letter.isprintable() or letter.isspace() for letter in words.strip("\0"))
    return is_whole and all(shown)
