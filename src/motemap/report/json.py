"""The JSON report: every key of the contract, always present, ``null`` for unknown."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

from motemap.errors import SettingsError
from motemap.report.frames import frame_from_dict, frame_to_dict
from motemap.report.opening import opening
from motemap.report.outcome import count_outcomes

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from motemap.records import FrameReport
    from motemap.settings import Settings

REPORT_NAME = "motemap.check"
REPORT_VERSION = 1

OPEN_LEVELS = 3
"""Objects nested less deep than this get a line a key; deeper ones one line as a whole, so
that a spot is one line and two reports can be compared with a line tool."""

STEERING = re.compile("[\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb]")
"""Characters that JSON allows as they are but that steer a terminal or the reading
direction."""
DELETE = "\x7f"
"""The only one of them in ASCII."""

ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False)
"""Made once: `json.dumps` would make one for each spot."""


def to_dict(frames: Sequence[FrameReport], settings: Settings) -> dict[str, Any]:
    """Return the whole report as plain dictionaries, lists, numbers and text.

    Raises
    ------
    OutputError
        If the spots of a frame are out of order, which is a fault of the program.
    """
    return {
        **opening(REPORT_NAME, REPORT_VERSION, settings),
        "frames": [frame_to_dict(frame) for frame in frames],
        "summary": dict(count_outcomes(frames)),
    }


def from_dict(document: Mapping[str, Any]) -> tuple[FrameReport, ...]:
    """Return the frames of a report that `to_dict` made, or that was read from its JSON.

    Raises
    ------
    SettingsError
        If the report is of a later version, whose keys may mean something else.
    """
    version = document.get("report_version")
    if isinstance(version, int) and version > REPORT_VERSION:
        raise SettingsError(
            f"The report was written by a newer version (report_version {version}, known here: "
            f"{REPORT_VERSION}).",
            repair="Update motemap.",
        )
    return tuple(frame_from_dict(record) for record in document["frames"])


def dumps(document: Mapping[str, Any]) -> str:
    """Return a report as JSON text, one spot a line, ending in a line feed.

    Serves every report of the package; the same document gives the same text.
    """
    text = _laid_out(document, level=0) + "\n"
    if text.isascii() and DELETE not in text:
        return text
    return STEERING.sub(_escape, text)


def _escape(match: re.Match[str]) -> str:
    return f"\\u{ord(match.group()):04x}"


def _laid_out(value: Any, *, level: int) -> str:
    if isinstance(value, dict) and value and level < OPEN_LEVELS:
        rows = [f"{_inline(str(key))}: {_laid_out(value[key], level=level + 1)}" for key in value]
        return _block("{", rows, "}", level=level)
    if isinstance(value, list) and value and isinstance(value[0], dict):
        is_open = level + 1 < OPEN_LEVELS
        rows = [_laid_out(item, level=level + 1) if is_open else _inline(item) for item in value]
        return _block("[", rows, "]", level=level)
    return _inline(value)


def _block(opening: str, rows: list[str], closing: str, *, level: int) -> str:
    inner = "\n" + "  " * (level + 1)
    outer = "\n" + "  " * level
    return f"{opening}{inner}{f',{inner}'.join(rows)}{outer}{closing}"


def _inline(value: Any) -> str:
    return ENCODER.encode(value)
