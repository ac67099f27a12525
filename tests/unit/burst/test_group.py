"""Which frames are one burst."""

from dataclasses import replace

import pytest

from motemap.burst import are_alike, group_bursts
from motemap.records import Exposure, FrameReport
from sequences import BODY, Shot, report_of

PLAIN = Shot()


def frame(taken_at: str | None, serial: str | None = "K-1", f_number: float = 22.0) -> FrameReport:
    return report_of(
        [],
        PLAIN,
        camera=replace(BODY, serial=serial),
        exposure=Exposure(f_number=f_number, taken_at=taken_at),
    )


def test_frames_a_short_while_apart_are_one_burst() -> None:
    frames = [
        frame("2031-05-02T10:00:00"),
        frame("2031-05-02T10:01:30"),
        frame("2031-05-02T10:03:20"),
        frame("2031-05-02T10:05:21"),
    ]
    assert group_bursts(frames) == ((0, 1, 2), (3,))


def test_order_does_not_matter_and_members_are_in_order_of_time() -> None:
    frames = [
        frame("2031-05-02T10:03:20"),
        frame("2031-05-02T12:00:00"),
        frame("2031-05-02T10:01:30"),
    ]
    assert group_bursts(frames) == ((2, 0), (1,))


def test_bodies_shot_at_the_same_time_are_kept_apart() -> None:
    frames = [
        frame("2031-05-02T10:00:00", "K-1"),
        frame("2031-05-02T10:00:05", "K-2"),
        frame("2031-05-02T10:00:10", "K-1"),
    ]
    assert group_bursts(frames) == ((0, 2), (1,))


def test_other_apertures_are_other_bursts() -> None:
    frames = [frame("2031-05-02T10:00:00"), frame("2031-05-02T10:00:05", f_number=16.0)]
    assert group_bursts(frames) == ((0,), (1,))


@pytest.mark.parametrize("taken_at", [None, "yesterday"])
def test_a_frame_of_unknown_time_is_alone(taken_at: str | None) -> None:
    assert group_bursts([frame(taken_at), frame(taken_at)]) == ((0,), (1,))


def test_a_zone_names_the_cameras_clock_and_no_more() -> None:
    frames = [frame("2031-05-02T10:00:00+02:00"), frame("2031-05-02T10:00:30")]
    assert group_bursts(frames) == ((0, 1),)


def test_alike_means_body_size_kind_and_aperture() -> None:
    one = frame("2031-05-02T10:00:00")
    assert are_alike(one, frame(None))
    assert not are_alike(one, frame(None, serial="K-2"))
    assert not are_alike(one, report_of([], Shot(kind="jpeg")))


def test_no_frames_are_no_bursts() -> None:
    assert group_bursts([]) == ()
