"""The record of every body, tied to judged frames: what to keep, and what it tells.

Work with the record is beside the main job: `keep` and `judge_with_record` raise
`RecordError` for a record that cannot be used, and the caller reports its frames all the same.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from motemap.bodies import BodyKey, KeptState, body_key
from motemap.compare import compare_states
from motemap.errors import RecordError, SettingsError
from motemap.facts.methods import known_methods
from motemap.history import Entry, Store, new_methods, past_marks
from motemap.matching import refusal
from motemap.pipeline.again import judge_again, known_of
from motemap.pipeline.states import last_passes, past_passes
from motemap.pipeline.walk import find_frames
from motemap.report.frames import frame_from_dict, frame_to_dict

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from motemap.changes import Comparison
    from motemap.records import FrameReport, Method, Stack
    from motemap.settings import Settings

    LookAgain = Callable[[FrameReport, Stack], FrameReport | None]

NO_BODY: Final = (
    "Not kept: the picture says neither which body took it nor was one named with --body."
)
UNFIT: Final = (
    "Not kept, as this frame is not fit to judge: say --done {done} again with the next shot of this "
    "body, or the record will not know of it."
)
NAME_UNUSED: Final = (
    "The name {name!r} of --body was not used: the picture names its body, {serial}."
)


def keep(
    frames: Iterable[FrameReport],
    place: Path,
    settings: Settings,
    *,
    body: str | None = None,
    done: tuple[str, ...] | None = None,
) -> tuple[FrameReport, ...]:
    """Keep every judged frame in the record, in one step.

    Parameters
    ----------
    frames : iterable of FrameReport
        As judged; others than judged ones are passed over.
    place : Path
        The record's file; made if need be.
    settings : Settings
        What "showing" meant.
    body : str, optional
        Name for a body whose pictures carry no serial number.
    done : tuple of str, optional
        What was done before the first frame of each body; ``settings.work.done`` if left out.

    Returns
    -------
    tuple of FrameReport
        The frames as given, those that could not be kept with a note that says why.

    Raises
    ------
    RecordError
        If the record cannot be used; nothing is kept then.
    """
    frames = tuple(frames)
    methods = known_methods(settings.work.done if done is None else done)
    with Store.open(place) as store:
        entries: list[Entry] = []
        seen: set[BodyKey] = set()
        for frame in sorted(frames, key=lambda each: each.exposure.taken_at or ""):
            key = body_key(with_body_name(frame, body).camera)
            if frame.state != "judged" or not key.is_certain:
                continue
            given = methods if key not in seen else ()
            seen.add(key)
            entries.append(_entry(frame, key, settings, _news(store, frame, key, given)))
        store.put(entries)
    return tuple(
        replace(
            frame,
            notes=(
                *frame.notes,
                *_remarks(frame, body, frame.notes),
                *_about_unfit(frame, methods, seen, body),
            ),
        )
        for frame in frames
    )


def _about_unfit(
    frame: FrameReport, done: tuple[Method, ...], kept: Collection[BodyKey], body: str | None
) -> tuple[str, ...]:
    """Say that what was done is not on record where no frame after it could be kept."""
    key = body_key(with_body_name(frame, body).camera)
    remark = UNFIT.format(done=",".join(method.split()[0] for method in done))
    is_lost = frame.state == "reshoot" and key.is_certain and key not in kept
    return (remark,) if done and is_lost and remark not in frame.notes else ()


def _remarks(frame: FrameReport, body: str | None, said: Sequence[str] = ()) -> tuple[str, ...]:
    """Say what of the user's wishes could not be followed in keeping a frame."""
    if frame.state != "judged":
        return ()
    remarks = []
    own = body_key(frame.camera).serial
    if body and own and own.casefold() != " ".join(body.split()).casefold():
        remarks.append(NAME_UNUSED.format(name=body, serial=own))
    if not body_key(with_body_name(frame, body).camera).is_certain:
        remarks.append(NO_BODY)
    return tuple(remark for remark in remarks if remark not in said)


def keep_sequence(
    comparison: Comparison, place: Path, settings: Settings, *, body: str | None = None
) -> Comparison:
    """Keep every judged state of a comparison, each with what was done before it.

    Returns
    -------
    Comparison
        As given, with notes that say why a state could not be kept.

    Raises
    ------
    RecordError
        If the record cannot be used; nothing is kept then.
    """
    with Store.open(place) as store:
        entries = []
        for state, done in zip(comparison.states, comparison.done, strict=True):
            key = body_key(with_body_name(state, body).camera)
            if state.state == "judged" and key.is_certain:
                entries.append(_entry(state, key, settings, done))
        store.put(entries)
    remarks = [remark for state in comparison.states for remark in _remarks(state, body)]
    return replace(comparison, notes=(*comparison.notes, *dict.fromkeys(remarks)))


def with_body_name(frame: FrameReport, body: str | None) -> FrameReport:
    """Give a frame without serial number the body's name in its stead."""
    if frame.camera.serial or not body:
        return frame
    return replace(frame, camera=replace(frame.camera, serial=body))


def judge_with_record(
    frames: Iterable[FrameReport],
    place: Path,
    settings: Settings,
    *,
    body: str | None = None,
    again: LookAgain | None = None,
) -> tuple[FrameReport, ...]:
    """Judge frames once more in the light of what the record knows of their bodies.

    Only states before a frame count, so that judging a kept frame again says the same.

    Parameters
    ----------
    again : callable, optional
        Judges a frame anew by a known stack distance; used where the frame could not measure
        its own and earlier ones of the body did. None for what no file can be read again of.

    Raises
    ------
    RecordError
        If there is a record that cannot be used. One that is not there yet is no fault.
    """
    frames = tuple(frames)
    if not place.exists():
        return frames
    with Store.open(place, can_write=False) as store:
        return tuple(_judged(frame, store, settings, body, again) for frame in frames)


def keep_and_judge(
    frames: Iterable[FrameReport],
    place: Path,
    settings: Settings,
    *,
    body: str | None = None,
    again: LookAgain | None = None,
) -> tuple[FrameReport, ...]:
    """Keep frames and judge them in the light of the record; the same on a second run.

    They are kept first, so that frames of one run know of each other, and once more with the
    verdict that follows. What turns out not to be fit to judge by what the record knows of the body
    is taken out again, and the others are judged anew without it: neither does it count as an
    earlier state of theirs, nor does what was done before it stay with it.

    Raises
    ------
    RecordError
        If the record cannot be used.
    """
    left = tuple(frames)
    while True:
        noted = keep(left, place, settings, body=body)
        judged = judge_with_record(noted, place, settings, body=body, again=again)
        pairs = tuple(zip(left, judged, strict=True))
        unfit = [digest_of(first) for first, frame in pairs if _is_shown_unfit(first, frame)]
        if not unfit:
            return keep(judged, place, settings, body=body)
        with Store.open(place) as store:
            store.drop(unfit)
        left = tuple(frame if _is_shown_unfit(first, frame) else first for first, frame in pairs)


def _is_shown_unfit(first: FrameReport, again: FrameReport) -> bool:
    """Whether only the record showed that a frame is not fit to judge."""
    return first.state == "judged" and again.state == "reshoot"


def digest_of(frame: FrameReport) -> str:
    """Return what makes a state one record: SHA-256 of its pictures, else of the report."""
    path = Path(frame.file)
    try:
        if path.is_dir():
            parts = sorted(_file_digest(each) for each in find_frames([path]).paths)
            return hashlib.sha256("".join(parts).encode()).hexdigest()
        return _file_digest(path)
    except (OSError, SettingsError):
        content = json.dumps({**frame_to_dict(frame), "file": ""}, sort_keys=True)
        return hashlib.sha256(content.encode()).hexdigest()


def _file_digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _entry(frame: FrameReport, key: BodyKey, settings: Settings, done: tuple[Method, ...]) -> Entry:
    """Return what is kept of a frame."""
    return Entry(
        body=key,
        digest=digest_of(frame),
        recorded_at=datetime.now(UTC).isoformat(timespec="seconds"),
        done=done,
        shoot_at_f=settings.work.shoot_at_f,
        show_depth_frac=settings.work.show_depth_frac,
        frame=frame_to_dict(frame),
    )


def _news(
    store: Store, frame: FrameReport, key: BodyKey, given: tuple[Method, ...]
) -> tuple[Method, ...]:
    """Say what was done since the state before, given what the user says was done."""
    earlier = _before(states_of(store, key), frame)
    return new_methods(given, earlier[-1].done) if given and earlier else given


def states_of(store: Store, key: BodyKey) -> list[KeptState]:
    """Return the kept states of a body, oldest first."""
    return [_kept(entry) for entry in store.entries(key)]


def _kept(entry: Entry) -> KeptState:
    """Read back what was kept of a state; a RecordError where that cannot be."""
    try:
        report = frame_from_dict(entry.frame)
    except (KeyError, TypeError, ValueError) as error:
        raise RecordError(
            f"A kept state cannot be read back ({error!r}).",
            repair="Export the record and start a new file with --db.",
        ) from error
    return KeptState(
        report=report,
        digest=entry.digest,
        recorded_at=entry.recorded_at,
        done=known_methods(entry.done),
    )


def _before(states: Sequence[KeptState], frame: FrameReport) -> list[KeptState]:
    """Kept states that are older than a frame; all others of a frame without a time."""
    digest = digest_of(frame)
    others = [state for state in states if state.digest != digest]
    moment = frame.exposure.taken_at
    return [state for state in others if moment is None or state.moment < moment]


def _judged(
    frame: FrameReport,
    store: Store,
    settings: Settings,
    body: str | None,
    again: LookAgain | None,
) -> FrameReport:
    """Judge one frame again by what the record knows of its body; as it is when that is nothing."""
    key = body_key(with_body_name(frame, body).camera)
    if frame.state != "judged" or not key.is_certain:
        return frame
    states = states_of(store, key)
    known = known_of(frame, (state.report for state in _before(states, frame)))
    if known is not None and again is not None:
        frame = again(frame, known) or frame
    if frame.state != "judged":
        return frame
    earlier = [
        state
        for state in _before(states, frame)
        if refusal(with_body_name(state.report, key.serial), with_body_name(frame, key.serial))
        is None
    ]
    if not earlier:
        return frame
    digest = digest_of(frame)
    own = [state.done for state in states if state.digest == digest]
    given = known_methods(settings.work.done)
    done = own[0] if own else new_methods(given, earlier[-1].done)
    marks = past_marks(frame, done, earlier)
    now = KeptState(report=frame, digest=digest, recorded_at="", done=done)
    changes = [
        (compare_states(before.report, after.report, done=after.done), after)
        for before, after in last_passes([*earlier, now])
        if refusal(before.report, after.report) is None
    ]
    return judge_again(frame, settings.work, past_passes(changes, marks))
