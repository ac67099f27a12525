"""Tag values made fit for use: absurd ones are unknown, text is free of what cannot be shown."""

from __future__ import annotations

import math
import re
import unicodedata
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.load.exif.directory import Value

F_RANGE = (0.5, 128.0)
ISO_RANGE = (1.0, 1e7)
SHUTTER_RANGE_S = (1e-6, 86400.0)
FOCAL_RANGE_MM = (0.5, 10000.0)
"""Wider than anything a camera has: what lies outside is damage, or a field left empty."""
_LONGEST_TEXT = 200
"""Longer names are cut: no camera or lens has one, and reports are to stay readable."""
_EMPTY_WORDS = frozenset(("", "none", "unknown", "n/a"))
_ZONE = re.compile(r"[+-]\d\d:\d\d|Z")
_MOMENT = re.compile(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)")
_SERIAL_LEAD = re.compile(r"^(NO|SN|S/N)[=:.]?\s+", re.IGNORECASE)


def text(value: Value | str | None) -> str | None:
    r"""Return text without control characters and padding; None when nothing is left.

    Examples
    --------
    >>> text(b"  Ratal 3\0junk")
    'Ratal 3'
    >>> text(b"----") is None
    True
    """
    if value is None or isinstance(value, tuple):
        return None
    said = value if isinstance(value, str) else _decoded(value)
    said = said.split("\0", 1)[0][:_LONGEST_TEXT]
    shown = (" " if unicodedata.category(letter)[0] in "CZ" else letter for letter in said)
    line = " ".join("".join(shown).split())
    has_sense = any(letter.isalnum() for letter in line)
    return line if has_sense and line.lower() not in _EMPTY_WORDS else None


def _decoded(payload: bytes) -> str:
    try:
        return payload.split(b"\0", 1)[0].decode("utf-8")
    except UnicodeDecodeError:
        return payload.decode("latin-1")


def number(value: Value | None, lowest: float, highest: float) -> float | None:
    """Return the first number when it lies in the range, None otherwise.

    Examples
    --------
    >>> number((0.2,), 0.5, 128) is None
    True
    """
    if not isinstance(value, tuple) or not value:
        return None
    first = float(value[0])
    return first if math.isfinite(first) and lowest <= first <= highest else None


def count(value: Value | None, highest: int) -> int | None:
    """Return the first number as a count of at least 1, None otherwise."""
    first = number(value, 1, highest)
    return None if first is None else int(first)


def serial(value: Value | str | None) -> str | None:
    """Return a serial number without a lead such as ``NO=``; None when it is all zeros."""
    if isinstance(value, tuple):
        value = str(int(value[0])) if value and math.isfinite(value[0]) else None
    line = text(value)
    if line is None:
        return None
    bare = _SERIAL_LEAD.sub("", line.replace("NO=", "NO= "))
    return bare if bare.strip("0 ") else None


def moment(value: Value | None, fraction: Value | None, zone: Value | None) -> str | None:
    """Return an Exif date as ISO 8601, with fraction and zone where they make sense.

    Examples
    --------
    >>> moment(b"2025:03:14 09:26:53", b"5", b"+02:00")
    '2025-03-14T09:26:53.500000+02:00'
    >>> moment(b"0000:00:00 00:00:00", None, None) is None
    True
    """
    match = _MOMENT.match(text(value) or "")
    if match is None:
        return None
    digits, offset = text(fraction) or "", text(zone) or ""
    micro = int(digits[:6].ljust(6, "0")) if digits.isascii() and digits.isdigit() else 0
    try:
        # Not by a format: what that takes to load would be a tenth of a small picture's time.
        year, month, day, hour, minute, second = map(int, match.groups())
        exact = datetime(year, month, day, hour, minute, second, micro).isoformat()
    except ValueError:
        return None
    return exact + (offset if _ZONE.fullmatch(offset) else "")
