"""Entries for a record, made from drawn spot lists."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from motemap.bodies import BodyKey, body_key
from motemap.history import Entry
from motemap.records import Exposure, Spot, Verdict
from motemap.report.frames import frame_to_dict
from sequences import BODY, Shot, report_of, spot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport

KEY = body_key(BODY)


def report(
    taken_at: str, spots: Sequence[Spot] | None = None, file: str = "frame.dng", **changes: Any
) -> FrameReport:
    """A judged frame of one time; two specks unless told otherwise."""
    shot = Shot()
    given = (
        list(spots)
        if spots is not None
        else [spot(1, 700, 900, shot=shot, depth_frac=0.2), spot(2, 4000, 300, shot=shot)]
    )
    plain = report_of(given, shot, file)
    return replace(
        plain,
        exposure=Exposure(f_number=22.0, taken_at=taken_at),
        verdict=Verdict(level="ready", reasons=("Nothing shows.",)),
        **changes,
    )


def entry(frame: FrameReport, *, body: BodyKey = KEY, done: tuple[str, ...] = ()) -> Entry:
    """A kept state; its digest follows from its file and time."""
    name = f"{frame.file} {frame.exposure.taken_at} {body.serial}"
    return Entry(
        body=body,
        digest=hashlib.sha256(name.encode()).hexdigest(),
        recorded_at="2031-06-01T08:00:00+00:00",
        done=done,
        shoot_at_f=11.0,
        show_depth_frac=0.02,
        frame=frame_to_dict(frame),
    )
