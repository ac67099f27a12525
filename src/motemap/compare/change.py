"""Two states of one sensor -> what became of every mark."""

from dataclasses import replace

import numpy as np

from motemap.changes import MarkFate, Registration, StateChange, days_between
from motemap.compare.absent import absent_after, absent_before
from motemap.compare.aperture import aperture_note
from motemap.compare.crowd import are_parted
from motemap.compare.moved import MOST_PAIRS, Mover, SizeGaps, find_movers
from motemap.compare.reasons import (
    PARTED,
    gone_reason,
    moved_reason,
    new_reason,
    perhaps_reasons,
    stayed_reason,
    weaker_reason,
)
from motemap.compare.strength import Yardstick, strength, yardstick
from motemap.compare.two import TwoStates, lay_over
from motemap.matching import Pairing
from motemap.records import FrameReport, Method, Spot

WIDEST_GAP = 0.5
"""Sizes farther apart than this are not asked whether they are one particle's (log ratio)."""

LEAST_MARKS = 3
"""With fewer marks before or after a cleaning it is nothing odd that none is in both; a choice."""


def compare_states(
    before: FrameReport, after: FrameReport, done: tuple[Method, ...] = ()
) -> StateChange:
    """Say of every mark what became of it.

    Parameters
    ----------
    before, after : FrameReport
        Two judged states of one sensor, in order of time.
    done : tuple of str
        Cleaning methods used between them.

    Returns
    -------
    StateChange
        Each mark of either state once; a pair has one entry.

    Raises
    ------
    GeometryError
        For another body, or pictures of another size.
    """
    states = lay_over(before, after)
    measure = yardstick(states, states.pairs)
    here = {**_paired(states, measure), **_gone(states)}
    came = _new(states)
    here, came = _with_movers(states, measure, here, came)
    days = days_between(before.exposure.taken_at, after.exposure.taken_at)
    return StateChange(
        before=before.file,
        after=after.file,
        registration=states.registration,
        marks=(*(here[row] for row in sorted(here)), *(came[row] for row in sorted(came))),
        done=done,
        notes=_notes(states, days),
        days=days,
    )


def _paired(states: TwoStates, measure: Yardstick) -> dict[int, MarkFate]:
    """Say of each pair whether it stayed or is weaker, by row of the first state."""
    change = strength(states, states.pairs, measure)
    parted = are_parted(states)
    fates = {}
    pairs = zip(states.pairs.rows.tolist(), states.pairs.cols.tolist(), strict=True)
    is_weaker = (change.is_weaker & ~parted).tolist()
    seeming = (change.is_weaker & parted).tolist()
    for (row, col), is_less, seems_less, ratio in zip(
        pairs, is_weaker, seeming, change.log_ratio.tolist(), strict=True
    ):
        fates[row] = MarkFate(
            fate="weaker" if is_less else "stayed",
            before_id=states.before.spots[row].id,
            after_id=states.after.spots[col].id,
            reasons=(
                weaker_reason(ratio) if is_less else stayed_reason(ratio),
                *((PARTED,) if seems_less else ()),
            ),
        )
    return fates


def _gone(states: TwoStates) -> dict[int, MarkFate]:
    """Say of the marks that only the first state has what became of them, by row."""
    return {
        row: MarkFate(
            fate="undecided" if absence.doubt else "gone",
            before_id=states.before.spots[row].id,
            after_id=None,
            reasons=(absence.doubt or gone_reason(states.after, absence.others),),
        )
        for row, absence in absent_after(states).items()
    }


def _new(states: TwoStates) -> dict[int, MarkFate]:
    """Say of the marks that only the second state has where they come from, by row."""
    return {
        row: MarkFate(
            fate="undecided" if absence.doubt else "new",
            before_id=None,
            after_id=states.after.spots[row].id,
            reasons=(absence.doubt or new_reason(states.before, absence.others),),
        )
        for row, absence in absent_before(states).items()
    }


def _with_movers(
    states: TwoStates, measure: Yardstick, here: dict[int, MarkFate], came: dict[int, MarkFate]
) -> tuple[dict[int, MarkFate], dict[int, MarkFate]]:
    """Join what went here and came there, where it is surely one particle; remark where perhaps."""
    went_rows = [row for row, mark in here.items() if mark.fate == "gone"]
    came_rows = [row for row, mark in came.items() if mark.fate == "new"]
    if len(went_rows) * len(came_rows) > MOST_PAIRS:
        return here, came
    before, after = states.before.spots, states.after.spots
    movers = find_movers(
        tuple(before[row] for row in went_rows),
        tuple(after[row] for row in came_rows),
        before + after,
        _size_gaps(states, measure, went_rows, came_rows),
    )
    joined, rest = dict(here), dict(came)
    for mover in movers:
        row, col = went_rows[mover.went], came_rows[mover.came]
        if mover.is_sure:
            joined[row] = _moved(mover, before[row], after[col])
            del rest[col]
        else:
            whither, whence = perhaps_reasons(before[row], after[col], mover.posterior)
            joined[row] = _with_reason(joined[row], whither)
            rest[col] = _with_reason(rest[col], whence)
    return joined, rest


def _size_gaps(states: TwoStates, measure: Yardstick, went: list[int], came: list[int]) -> SizeGaps:
    """Compare sizes of all that went with all that came, where they are near at all."""
    one, two = states.before_table.log_size[went], states.after_table.log_size[came]
    gap = np.abs(two[None, :] - one[:, None])
    start, end = np.nonzero(np.nan_to_num(gap, nan=np.inf) <= WIDEST_GAP)
    rows, cols = np.array(went, dtype=np.intp)[start], np.array(came, dtype=np.intp)[end]
    pairs = Pairing(rows=rows, cols=cols, distance_px=np.zeros(len(rows)))
    change = strength(states, pairs, measure)
    log_ratio, error = np.full(gap.shape, np.nan), np.ones(gap.shape)
    log_ratio[start, end] = change.log_ratio
    error[start, end] = change.error
    return SizeGaps(log_ratio=log_ratio, error=error)


def _moved(mover: Mover, one: Spot, two: Spot) -> MarkFate:
    return MarkFate(
        fate="moved",
        before_id=one.id,
        after_id=two.id,
        reasons=(moved_reason(one, two, mover.posterior),),
    )


def _with_reason(mark: MarkFate, reason: str) -> MarkFate:
    return replace(mark, reasons=(*mark.reasons, reason))


def is_same_picture(before: FrameReport, after: FrameReport) -> bool:
    """Tell one picture given for two states, by whatever names.

    No two shots measure alike to the last digit, but those of which nothing was measured: without
    a mark, and with noise that coding took away.
    """
    is_measured = bool(before.sensitivity.noise_frac)
    return is_measured and all(
        getattr(before, part) == getattr(after, part)
        for part in ("image", "exposure", "sensitivity", "spots")
    )


def _notes(states: TwoStates, days: float | None) -> tuple[str, ...]:
    """Say what makes two states hard to compare, or is taken for granted in it."""
    before, after = states.before, states.after
    notes = []
    if is_same_picture(before, after):
        notes.append(
            "both are the same picture, so nothing that was done in between is judged by it: "
            "give a shot from after the cleaning"
        )
    if days is not None and days < 0:
        one, two = ((each.exposure.taken_at or "").replace("T", " ", 1) for each in (before, after))
        notes.append(
            f"the second was taken first, at {two}, not {one}; see whether the order is right"
        )
    about_aperture = aperture_note(before, after, states.apertures)
    if about_aperture is not None:
        notes.append(about_aperture)
    if not (before.camera.serial and after.camera.serial):
        is_odd = may_be_two_bodies(before, after, states.registration)
        doubt = ", though no mark is in both" if is_odd else ""
        notes.append(f"no serial number: taken to be one body{doubt}")
    return tuple(notes)


def may_be_two_bodies(before: FrameReport, after: FrameReport, found: Registration) -> bool:
    """Tell whether marks speak for two bodies where no serial number speaks against it.

    Parameters
    ----------
    before, after : FrameReport
    found : Registration
        How the marks of one lie over those of the other.
    """
    if found.is_known or (before.camera.serial and after.camera.serial):
        return False
    return all(
        sum(spot.layer != "lens side" for spot in state.spots) >= LEAST_MARKS
        for state in (before, after)
    )
