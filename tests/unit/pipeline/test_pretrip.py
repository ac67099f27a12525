"""Every body of a trip: the latest state of each."""

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from drawn import dust, shoot
from motemap.bodies import BodyKey, Trip, TripBody, TripState
from motemap.pipeline import pretrip
from motemap.pipeline.pretrip import (
    NO_AGE,
    NO_SERIAL,
    NO_TIME,
    ONLY_LATEST,
    TripWishes,
    check_trip,
    exit_code,
)
from motemap.pipeline.walk import find_frames
from motemap.records import Counts, FrameReport
from motemap.report.pretrip_text import render
from motemap.settings import Settings
from reporting.builders import ready
from reporting.states import lines_of

pytestmark = pytest.mark.usefixtures("judged_once")

NOW = datetime.fromisoformat("2031-05-04T10:00:00")
SETTINGS = Settings()
TINY: dict[str, Any] = {"n_specks": 3, "smallest_um": 2.0, "largest_um": 3.0}


@pytest.fixture(scope="module")
def trip_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two bodies: one cleaned since its first shot, one dirty with a burst of two."""
    folder = tmp_path_factory.mktemp("trip")
    shoot(folder / "a1.dng", dust(), serial="K-1", taken_at="2031-05-02T10:00:00")
    shoot(folder / "a2.dng", dust(**TINY), serial="K-1", taken_at="2031-05-03T10:00:00")
    for number in (1, 2):
        shoot(
            folder / "sub" / f"b{number}.dng",
            dust(),
            serial="K-2",
            taken_at=f"2031-05-01T09:00:{10 * number}",
            seed=number,
        )
    return folder


def check(folder: Path, **wishes: Any) -> Trip:
    wanted = TripWishes(**{"now": NOW, **wishes})
    return check_trip(find_frames([folder]), SETTINGS, wanted, jobs=1)


def test_the_latest_state_of_each_body_counts(trip_folder: Path) -> None:
    trip = check(trip_folder)
    clean, dirty = trip.bodies
    assert clean.body == BodyKey("Halvern", "Halvern Q7", "K-1")
    assert (clean.state, clean.method, clean.minutes, clean.n_showing) == ("ready", "none", None, 0)
    assert clean.age_days == pytest.approx(1.0)
    assert (dirty.state, dirty.method, dirty.minutes) == ("clean", "blower", 3.0)
    assert (dirty.n_frames, trip.unreadable) == (2, ())
    assert dirty.n_showing is not None
    assert dirty.n_showing > 0
    assert exit_code(trip) == 3


def test_what_shows_from_the_lens_is_no_dirt_on_a_body(
    trip_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lens = ready(counts=Counts(found=3, showing=2, showing_on_lens=2))
    monkeypatch.setattr(pretrip, "judge_burst", lambda *_args, **_wishes: lens)
    trip = check(trip_folder)
    assert {body.n_showing for body in trip.bodies} == {0}
    assert "nothing would show" in render(trip)
    # Of two states of a body with a serial number the latest says all.
    assert lines_of(render(trip))[-1] == "2 bodies: 2 ready."


def test_what_is_too_old_is_stale(trip_folder: Path) -> None:
    trip = check(trip_folder, max_age_days=2.0)
    assert [body.state for body in trip.bodies] == ["ready", "stale"]
    assert exit_code(trip) == 4
    assert [body.state for body in check(trip_folder, max_age_days=30.0).bodies] == [
        "ready",
        "clean",
    ]


def test_expected_bodies_must_be_there(trip_folder: Path) -> None:
    trip = check(trip_folder, expected=("k-1", "K-9", "K-9"))
    assert [(body.body.serial, body.state) for body in trip.bodies] == [
        ("K-1", "ready"),
        ("K-2", "clean"),
        ("K-9", "missing"),
    ]
    assert exit_code(trip) == 4


def test_a_file_that_cannot_be_read_is_named(trip_folder: Path, tmp_path: Path) -> None:
    broken = tmp_path / "zero.dng"
    broken.touch()
    found = find_frames([trip_folder, broken])
    trip = check_trip(found, SETTINGS, TripWishes(now=NOW), jobs=1)
    assert [frame.file for frame in trip.unreadable] == [str(broken)]
    assert exit_code(trip) == 1
    assert exit_code(trip, exit_zero=True) == 1


def test_frames_without_serial_are_merged_only_aloud(tmp_path: Path) -> None:
    for number in (1, 2):
        shoot(
            tmp_path / f"{number}.dng",
            dust(**TINY),
            serial=None,
            taken_at=f"2031-05-0{number}T10:00:00",
        )
    trip = check(tmp_path)
    (body,) = trip.bodies
    assert body.notes == (NO_SERIAL, ONLY_LATEST.format(number=2, name="2.dng"))
    # Whoever reads no more than the last line is to know as well.
    assert lines_of(render(trip))[-1] == "1 body: 1 ready; 1 without serial number may be several."
    assert body.age_days == pytest.approx(2.0)


def test_without_a_time_the_age_is_unknown(tmp_path: Path) -> None:
    shoot(tmp_path / "1.dng", dust(**TINY), taken_at=None)
    (body,) = check(tmp_path).bodies
    assert (body.state, body.age_days, body.notes) == ("ready", None, (NO_TIME,))
    (body,) = check(tmp_path, max_age_days=3.0).bodies
    assert (body.state, body.notes) == ("stale", (NO_TIME, NO_AGE))


def of(*states: TripState, n_unreadable: int = 0) -> Trip:
    return Trip(
        bodies=tuple(TripBody(body=BodyKey("", "", "K"), state=state) for state in states),
        unreadable=(FrameReport(file="x", state="unreadable"),) * n_unreadable,
    )


@pytest.mark.parametrize(
    ("trip", "code", "code_with_exit_zero"),
    [
        (of("ready"), 0, 0),
        (of("ready", "clean"), 3, 0),
        (of("clean", "reshoot"), 4, 0),
        (of("ready", "stale"), 4, 0),
        (of("clean", "missing"), 4, 0),
        (of("ready", "unreadable"), 1, 1),
        (of("missing", n_unreadable=1), 1, 1),
        (of(), 1, 1),
    ],
)
def test_the_worst_body_decides(trip: Trip, code: int, code_with_exit_zero: int) -> None:
    assert exit_code(trip) == code
    assert exit_code(trip, exit_zero=True) == code_with_exit_zero
