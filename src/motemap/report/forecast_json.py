"""The forecast as JSON and as a table, one row an aperture."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from motemap.report.frames import frame_to_dict, tally_to_dict
from motemap.report.opening import opening
from motemap.report.plain import encodable
from motemap.report.rows import write_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport
    from motemap.settings import Settings
    from motemap.tallies import ApertureTally

REPORT_NAME: Final = "motemap.forecast"
REPORT_VERSION: Final = 1
COLUMNS: Final = ("file", "f_number", "showing", "unknown", "worst", "worst_depth_frac")


def to_dict(
    report: FrameReport, rows: Sequence[ApertureTally], settings: Settings
) -> dict[str, Any]:
    """Return the forecast as plain dictionaries, with the frame it was made from."""
    return {
        **opening(REPORT_NAME, REPORT_VERSION, settings),
        "forecast": [tally_to_dict(row) for row in rows],
        "frame": frame_to_dict(report),
    }


def to_csv(report: FrameReport, rows: Sequence[ApertureTally]) -> str:
    """Return one row an aperture; a frame without a forecast gives one with its name alone."""
    records = [tally_to_dict(row) for row in rows] or [{}]
    return write_rows(COLUMNS, [{"file": encodable(report.file), **record} for record in records])
