"""The course of every body in the record: what came, what stayed, what it comes to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.bodies import BodyCourse, BodyKey, CourseStep, KeptState, Survivor
from motemap.compare import compare_states
from motemap.errors import SettingsError
from motemap.history import comeback, mean_stack, past_marks
from motemap.matching import refusal
from motemap.pipeline.record import states_of
from motemap.showing import is_on_sensor, shows_on_sensor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.changes import StateChange
    from motemap.history import Store
    from motemap.records import FrameReport
    from motemap.settings import WorkSettings


def courses(store: Store, work: WorkSettings) -> tuple[BodyCourse, ...]:
    """Return the course of every body in the record, by name."""
    return tuple(course(store, kept.body, work) for kept in store.bodies())


def course(store: Store, key: BodyKey, work: WorkSettings) -> BodyCourse:
    """Return all that the record says of one body.

    Parameters
    ----------
    work : WorkSettings
        For what shows; the record's own aperture does not matter.
    """
    states = states_of(store, key)
    visible = [_showing_ids(state.report, work) for state in states]
    steps = tuple(
        CourseStep(
            state=state,
            n_found=len(state.report.spots),
            n_showing=len(ids),
            change=_change(states[index - 1], state) if index else None,
        )
        for index, (state, ids) in enumerate(zip(states, visible, strict=True))
    )
    return BodyCourse(
        body=key,
        steps=steps,
        survivors=_survivors(states, visible[-1]) if states else (),
        stack=mean_stack(state.report.stack for state in states),
        comeback=comeback(steps, visible),
    )


def _showing_ids(report: FrameReport, work: WorkSettings) -> frozenset[int]:
    """Name the marks on the sensor that show at the photographer's aperture."""
    return frozenset(spot.id for spot in report.spots if shows_on_sensor(spot, work))


def _change(before: KeptState, after: KeptState) -> StateChange | None:
    if refusal(before.report, after.report) is not None:
        return None
    return compare_states(before.report, after.report, done=after.done)


def _survivors(states: Sequence[KeptState], visible: frozenset[int]) -> tuple[Survivor, ...]:
    """List what no method took off the sensor; what lies on the lens none was meant for."""
    latest = states[-1]
    pasts = past_marks(latest.report, latest.done, states[:-1])
    return tuple(
        Survivor(
            spot_id=spot.id,
            kind=spot.kind,
            place=spot.place,
            particle_um=spot.particle_um,
            is_showing=spot.id in visible,
            times_seen=past.times_seen,
            outlived=past.outlived,
        )
        for spot, past in zip(latest.report.spots, pasts, strict=True)
        if past is not None and past.outlived and is_on_sensor(spot)
    )


def find_body(store: Store, wanted: str) -> BodyKey:
    """Return the one body that a serial number, name or part of a title means.

    Raises
    ------
    SettingsError
        If none or several are meant.
    """
    keys = [kept.body for kept in store.bodies()]
    text = wanted.casefold()
    exact = [key for key in keys if key.serial.casefold() == text]
    found = exact or [key for key in keys if text in key.title.casefold()]
    if len(found) == 1:
        return found[0]
    names = ", ".join(key.title for key in found or keys) or "none"
    cause = f"{wanted!r} means several bodies." if found else f"No body {wanted!r} is kept."
    raise SettingsError(cause, repair=f"Give a serial number. Kept: {names}.")
