"""One call for every form a report comes in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from motemap.report import csv, json, text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport
    from motemap.report.text import TextStyle
    from motemap.settings import Settings

Form = Literal["text", "json", "csv"]


def render(
    frames: Sequence[FrameReport],
    settings: Settings,
    *,
    form: Form = "text",
    style: TextStyle | None = None,
) -> str:
    """Return the report of a run in the form asked for.

    Parameters
    ----------
    style : TextStyle, optional
        How the text looks; without meaning for the other forms.

    Raises
    ------
    OutputError
        If the spots of a frame are out of order, which is a fault of the program.
    """
    if form == "json":
        return json.dumps(json.to_dict(frames, settings))
    if form == "csv":
        return csv.render(frames, settings)
    return text.render(frames, settings, style)
