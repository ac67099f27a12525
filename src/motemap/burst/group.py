"""Which frames are one burst: the same body, alike in kind, a short while apart."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from motemap.bodies import body_key

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import FrameReport

MOST_GAP_S = 120.0
"""Longest pause between two frames of one burst [s]. Cleaning takes longer than this: tools
out, battery checked, lens off and on again."""

KIND_WORDS = ("body", "kind of file", "size", "aperture")
"""What frames have to be alike in to be combined, in the order of `_kind`."""


def are_alike(one: FrameReport, two: FrameReport) -> bool:
    """Tell whether two frames can be combined: one body, size, kind of file and aperture."""
    return not differences(one, two)


def differences(one: FrameReport, two: FrameReport) -> tuple[str, ...]:
    """Return in words in what two frames differ, so that they cannot be combined."""
    pairs = zip(KIND_WORDS, _kind(one), _kind(two), strict=True)
    return tuple(words for words, ours, theirs in pairs if ours != theirs)


def group_bursts(
    frames: Sequence[FrameReport], most_gap_s: float = MOST_GAP_S
) -> tuple[tuple[int, ...], ...]:
    """Sort frames into bursts.

    Parameters
    ----------
    frames : sequence of FrameReport
        In any order.
    most_gap_s : float
        Longest pause within a burst [s].

    Returns
    -------
    tuple of tuple of int
        Positions in `frames`: each in one group, groups by their first member, members by
        time. A frame whose time is unknown is a group of its own.
    """
    groups: list[list[int]] = []
    open_groups: dict[tuple[object, ...], tuple[datetime, list[int]]] = {}
    moments = [_moment(frame) for frame in frames]
    timed = [index for index, moment in enumerate(moments) if moment is not None]
    groups += [[index] for index, moment in enumerate(moments) if moment is None]
    for index in sorted(timed, key=lambda each: (moments[each] or datetime.min, each)):
        moment = moments[index] or datetime.min
        latest = open_groups.get(_kind(frames[index]))
        if latest is not None and (moment - latest[0]).total_seconds() <= most_gap_s:
            members = latest[1]
        else:
            members = []
            groups.append(members)
        members.append(index)
        open_groups[_kind(frames[index])] = (moment, members)
    return tuple(tuple(group) for group in sorted(groups, key=min))


def _kind(frame: FrameReport) -> tuple[object, ...]:
    image = frame.image
    kind, size = (image.kind, (image.width_px, image.height_px)) if image else (None, (0, 0))
    return body_key(frame.camera), kind, size, frame.exposure.f_number


def _moment(frame: FrameReport) -> datetime | None:
    """When a frame was taken, on the camera's own clock; a zone only names that clock."""
    if frame.exposure.taken_at is None:
        return None
    try:
        return datetime.fromisoformat(frame.exposure.taken_at).replace(tzinfo=None)
    except ValueError:
        return None
