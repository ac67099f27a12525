"""JPEGs that come in several scans: what they cost to decode, and how many are too many.

Such a picture is held whole as frequencies, two bytes each, until its last scan has been
gone through; each scan goes over all of it again, and may be a few bytes long in the file.
Source: ITU-T T.81, sections 4.5 (scans), A.1.1 (sampling factors) and G.1 (progressive).
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

from motemap.errors import UnsupportedFile
from motemap.load.exif.blocks import jpeg_segments

if TYPE_CHECKING:
    from PIL.JpegImagePlugin import JpegImageFile

MOST_SCANS: Final = 100
"""Cameras write 1, programs about 10; previews in the same file add theirs."""

_SCAN: Final = b"\xff\xda"
_SCAN_HEAD_BYTES: Final = 4
_FREQUENCY_BYTES: Final = 2


def refuse_many_scans(content: bytes) -> None:
    """Raise when a JPEG has so many scans that it can only be meant to keep us busy.

    Raises
    ------
    UnsupportedFile
        When it has more than `MOST_SCANS`.
    """
    if content.count(_SCAN) > MOST_SCANS:
        raise UnsupportedFile(
            f"The JPEG comes in more than {MOST_SCANS} scans.",
            repair="Give the file from the camera.",
        )


def held_bytes(content: bytes, picture: JpegImageFile) -> int:
    """Return how many bytes a pixel the decoder holds; 1 for brightness in a single scan."""
    factors = [across * down for _, across, down, _ in picture.layer]
    if not factors or (len(factors) == _n_in_first_scan(content) and not _is_layered(picture)):
        return 1
    return 1 + -(-_FREQUENCY_BYTES * sum(factors) // max(factors))


def _is_layered(picture: JpegImageFile) -> bool:
    return bool(picture.info.get("progressive"))


def _n_in_first_scan(content: bytes) -> int:
    """Return how many colours the first scan carries."""
    segments = jpeg_segments(io.BytesIO(content), 0)
    head_stop = max((at + n_bytes for _, at, n_bytes in segments), default=0)
    at = content.find(_SCAN, head_stop) + _SCAN_HEAD_BYTES
    return content[at] if _SCAN_HEAD_BYTES <= at < len(content) else 0
