"""Marks that only one of two states has: gone, new, or not to be decided."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motemap.compare.aperture import Apertures
from motemap.compare.crowd import reaches_px, run_together
from motemap.compare.reasons import HIDDEN, NO_APERTURE, ON_LENS, OUTSIDE, TOO_FAINT
from motemap.compare.two import TwoStates
from motemap.compare.visible import miss_chance
from motemap.matching import MarkTable, carry_back, carry_over

SURELY_SEEN = 0.02
"""Chance of being missed below which a mark tells how many went and how many stayed."""

SURE_ENOUGH = 0.9
"""Odds at which an absent mark is called gone rather than overlooked."""

EVEN = 0.5
"""Share that went, where nothing is known of others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Absence:
    """What the absence of a mark in the other frame rests on.

    Parameters
    ----------
    doubt : str or None
        Why it cannot be decided; None for a mark that is gone, or new.
    others : tuple of int or None
        Where the other frame might have missed a mark so faint: how many clearer marks it lacks
        besides, and of how many; None where it would have shown the mark anyway.
    """

    doubt: str | None = None
    others: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Side:
    """The marks of one state, seen from the other.

    Parameters
    ----------
    place_px : (N, 2) float64
        Where they would lie in the other picture, from its middle [px].
    is_paired : (N,) bool
        Whether the other state has them.
    miss_chance : (N,) float64
        How likely the other state would miss each, were it there.
    apertures : Apertures
        From this state to the other.
    """

    own: MarkTable
    other: MarkTable
    place_px: NDArray[np.float64]
    is_paired: NDArray[np.bool_]
    miss_chance: NDArray[np.float64]
    apertures: Apertures


def absent_after(states: TwoStates) -> dict[int, Absence]:
    """Judge the marks of the first state that the second does not have, by row number."""
    one, two = states.before_table, states.after_table
    return _judge(
        _Side(
            own=one,
            other=two,
            place_px=carry_over(one.place_px, states.registration),
            is_paired=np.isin(np.arange(len(one)), states.pairs.rows),
            miss_chance=miss_chance(states.before, states.after, states.apertures),
            apertures=states.apertures,
        )
    )


def absent_before(states: TwoStates) -> dict[int, Absence]:
    """Judge the marks of the second state that the first did not have, likewise."""
    one, two = states.before_table, states.after_table
    return _judge(
        _Side(
            own=two,
            other=one,
            place_px=carry_back(two.place_px, states.registration),
            is_paired=np.isin(np.arange(len(two)), states.pairs.cols),
            miss_chance=miss_chance(states.after, states.before, states.apertures.turned),
            apertures=states.apertures.turned,
        )
    )


def _judge(side: _Side) -> dict[int, Absence]:
    """Weigh "it is gone" against "it was overlooked" by how many others went.

    When all that must show is still there, a faint mark was likelier missed than removed; when
    nearly all of that went, it went with them. That a mark is absent is no evidence of what became
    of itself: it is left out where the others are counted.
    """
    is_clear = (side.miss_chance < SURELY_SEEN) & side.own.is_fixed
    n_absent, n_clear = _clear_ones(side, is_clear)
    answers: dict[int, Absence] = {}
    rows = np.flatnonzero(~side.is_paired)
    is_hidden = _is_hidden(side, rows)
    for row, hidden in zip(rows.tolist(), is_hidden.tolist(), strict=True):
        itself = int(is_clear[row])
        others = (n_absent - itself, n_clear - itself)
        share = (others[0] + 1.0) / (others[1] + 2.0)
        doubt = _doubt(side, row, is_hidden=hidden)
        miss = float(side.miss_chance[row])
        if doubt is None and not _is_sure(share, miss):
            doubt = TOO_FAINT
        rests_on_others = doubt is None and not _is_sure(EVEN, miss)
        answers[row] = Absence(doubt=doubt, others=others if rests_on_others else None)
    return answers


def _is_sure(share: float, miss: float) -> bool:
    """Whether an absent mark is gone, given the share that went and its chance to be missed."""
    return share / (share + (1.0 - share) * miss) >= SURE_ENOUGH


def _clear_ones(side: _Side, is_clear: NDArray[np.bool_]) -> tuple[int, int]:
    """Return of the marks the other frame would surely have shown: how many it lacks, and all."""
    n_absent = int(np.count_nonzero(is_clear & ~side.is_paired))
    return n_absent, int(np.count_nonzero(is_clear))


def _is_hidden(side: _Side, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether marks of the other frame lie over the places of some marks, (n,)."""
    own_px, other = side.place_px[rows], side.other
    return run_together(own_px, reaches_px(side.own)[rows], other.place_px, reaches_px(other))


def _doubt(side: _Side, row: int, *, is_hidden: bool) -> str | None:
    """Why the other frame could not have shown a mark, its faintness apart."""
    if not side.own.is_fixed[row]:
        return ON_LENS
    place_px = side.place_px[row]
    room_px = np.array([side.other.half_width_px, side.other.half_height_px])
    if np.any(np.abs(place_px) > room_px):
        return OUTSIDE
    if is_hidden:
        return HIDDEN
    return NO_APERTURE if side.apertures.ratio is None else None
