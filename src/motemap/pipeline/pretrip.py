"""Every body of a trip, ready or not: the latest state of each, in a line."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Final

from motemap.bodies import BodyKey, Trip, TripBody, TripState, body_key
from motemap.changes import DAY_S
from motemap.facts.methods import find_method
from motemap.pipeline.bursts import find_bursts, judge_burst, read_head
from motemap.pipeline.exit_codes import CLEAN_CODE, FAULT_CODE, READY_CODE, RESHOOT_CODE
from motemap.records import Camera, FrameReport

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from motemap.pipeline.walk import Found
    from motemap.records import Metadata
    from motemap.settings import Settings

NO_SERIAL: Final = "No serial number: all frames of this model are taken to be one body."
ONLY_LATEST: Final = (
    "Of its {number} states only the latest, {name}, was judged: if there are several such bodies, give "
    "the frames of each by themselves."
)
NO_TIME: Final = "The time of the shots is unknown: the last by name counts as the latest."
NO_AGE: Final = "Its age is unknown, so it counts as too old."


@dataclass(frozen=True, slots=True, kw_only=True)
class TripWishes:
    """What a trip asks for.

    Parameters
    ----------
    expected : tuple of str
        Serial numbers of bodies that must be there.
    max_age_days : float or None
        Oldest a state may be [days].
    now : datetime
        Local time, as cameras keep it.
    """

    now: datetime
    expected: tuple[str, ...] = ()
    max_age_days: float | None = None


def check_trip(
    found: Found,
    settings: Settings,
    wishes: TripWishes,
    *,
    jobs: int | None = None,
    on_done: Callable[[Path], None] | None = None,
) -> Trip:
    """Judge the latest state of every body.

    Parameters
    ----------
    found : Found
        Test shots of all bodies, in any order, and what could not be read.
    settings : Settings
    wishes : TripWishes
    jobs : int, optional
        Frames judged at the same time.
    on_done : callable, optional
        Called in this thread with each file as it is done with.

    Returns
    -------
    Trip
        Bodies by maker, model and serial, then expected ones of which there is no picture.
    """
    bursts = find_bursts(found.paths)
    heads = {path: read_head(path) for burst in bursts for path in burst}
    by_body: defaultdict[BodyKey, list[tuple[Path, ...]]] = defaultdict(list)
    strangers: list[Path] = []
    for burst in bursts:
        head = heads[burst[0]]
        if head is None:
            strangers += burst
        else:
            by_body[body_key(head.camera)].append(burst)
    bodies = []
    for key in sorted(by_body):
        latest = max(by_body[key], key=lambda burst: _moment(heads, burst))
        report = judge_burst(latest, settings, jobs=jobs, on_done=on_done)
        line = _line(key, report, len(latest), wishes)
        bodies.append(_with_unjudged(line, len(by_body[key]), latest[-1].name))
    unreadable = tuple(
        judge_burst([path], settings, jobs=jobs, on_done=on_done) for path in strangers
    )
    return Trip(
        bodies=(*bodies, *_missing(bodies, wishes)), unreadable=(*found.troubles, *unreadable)
    )


def exit_code(trip: Trip, *, exit_zero: bool = False) -> int:
    """Return the program's exit code: the worst body wins.

    Anything unreadable is 1; a body that has to be shot (again), is stale or missing 4; one
    that needs cleaning 3.
    """
    states = {body.state for body in trip.bodies}
    if trip.unreadable or "unreadable" in states or not states:
        return FAULT_CODE
    if exit_zero:
        return READY_CODE
    if states & {"reshoot", "stale", "missing"}:
        return RESHOOT_CODE
    return CLEAN_CODE if "clean" in states else READY_CODE


def _moment(heads: dict[Path, Metadata | None], burst: Sequence[Path]) -> tuple[str, str]:
    """Rank bursts by time, those without one first and by name."""
    times = [head.exposure.taken_at for path in burst if (head := heads[path]) is not None]
    return max((time for time in times if time), default=""), str(burst[-1])


def _line(key: BodyKey, report: FrameReport, n_frames: int, wishes: TripWishes) -> TripBody:
    """Say of one body, by its latest state, whether it can go on the trip."""
    age_days = _age(report.exposure.taken_at, wishes.now)
    is_stale = wishes.max_age_days is not None and (
        age_days is None or age_days > wishes.max_age_days
    )
    notes = [NO_SERIAL] if not key.is_certain else []
    if report.exposure.taken_at is None:
        notes.append(NO_TIME)
    if is_stale and age_days is None:
        notes.append(NO_AGE)
    verdict = report.verdict
    method = verdict.method if verdict else None
    state: TripState = "unreadable" if verdict is None else verdict.level
    return TripBody(
        body=key,
        state="stale" if is_stale and state != "unreadable" else state,
        level=verdict.level if verdict else None,
        method=method,
        minutes=None if method in {None, "none"} else find_method(str(method)).minutes,
        n_showing=report.counts.showing_on_sensor if state in {"ready", "clean"} else None,
        n_frames=n_frames,
        age_days=age_days,
        report=report,
        notes=tuple(notes),
    )


def _with_unjudged(line: TripBody, n_states: int, name: str) -> TripBody:
    """Say of what may be several bodies that only one state was judged, lest one be let go unseen."""
    line = replace(line, n_states=n_states)
    if not line.may_be_several:
        return line
    remark = ONLY_LATEST.format(number=n_states, name=name)
    return replace(line, notes=(*line.notes, remark))


def _age(taken_at: str | None, now: datetime) -> float | None:
    """Age of a shot [days]; a camera's clock knows no zone, so local time is compared."""
    if taken_at is None:
        return None
    try:
        moment = datetime.fromisoformat(taken_at)
    except ValueError:
        return None
    if moment.tzinfo is not None:
        moment = moment.astimezone(now.tzinfo).replace(tzinfo=None)
    return (now.replace(tzinfo=None) - moment).total_seconds() / DAY_S


def _missing(bodies: Sequence[TripBody], wishes: TripWishes) -> list[TripBody]:
    there = {each.body.serial.casefold() for each in bodies}
    return [
        TripBody(body=body_key(Camera(serial=serial)), state="missing")
        for serial in dict.fromkeys(wishes.expected)
        if serial.casefold() not in there
    ]
