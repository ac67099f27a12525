"""Matches what was reported with what is true, one to one.

Two true marks nearer than 0.6 of a width count as one: nobody could part them. A report that
points at a mark already taken is a fragment, and counts as a false mark.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linear_sum_assignment

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from accuracy_parts.truths import Truth
    from motemap.records import FrameReport, Layer, Spot, SpotKind

COUNTING_DEPTH_FRAC = 0.01
COUNTING_SNR = 12.0
COUNTING_LIGHT_FRAC = 0.1
"""Darker parts - black corners, beyond the lens's circle - are no part of the test."""
ONE_WITHIN_WIDTHS = 0.6
LENS_REACH_OF_WIDTH = 0.6
COUNTING_WORTH, OTHER_WORTH = 20.0, 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One reported mark, by this tool or by another; lengths in stored pixels."""

    row_px: float
    col_px: float
    depth_frac: float | None = None
    width_px: float | None = None
    lost_area_px2: float | None = None
    length_px: float | None = None
    snr: float | None = None
    kind: SpotKind = "unsure"
    layer: Layer = "unsure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """True marks that count as one."""

    members: tuple[int, ...]
    is_counting: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """How a report compares with the truth; all numbers are indices.

    Parameters
    ----------
    groups : tuple of Group
        True marks on the sensor, those too near to part taken together.
    taken : dict of int to int
        Group -> reported mark.
    lens_taken : dict of int to int
        True mark on the lens -> reported mark that says so.
    extra : tuple of int
        Reported marks that belong to nothing, or to something already taken.
    """

    groups: tuple[Group, ...]
    taken: dict[int, int]
    lens_taken: dict[int, int]
    extra: tuple[int, ...]


def found_in(report: FrameReport) -> tuple[Found, ...]:
    """Return the marks of a report, in pixels where its sensor is known."""
    pitch_um = report.sensor.pitch_um if report.sensor else None
    return tuple(_found(spot, pitch_um) for spot in report.spots)


def _found(spot: Spot, pitch_um: float | None) -> Found:
    unit_px = None if pitch_um is None else 1.0 / pitch_um
    return Found(
        row_px=spot.image_y_px,
        col_px=spot.image_x_px,
        depth_frac=spot.depth_frac,
        width_px=_times(spot.width_um, unit_px),
        length_px=_times(spot.length_um, unit_px),
        lost_area_px2=_times(_times(spot.lost_area_um2, unit_px), unit_px),
        snr=spot.snr,
        kind=spot.kind,
        layer=spot.layer,
    )


def _times(value: float | None, factor: float | None) -> float | None:
    return None if value is None or factor is None else value * factor


def is_counting(truth: Truth) -> bool:
    """Return whether a mark has to be found: deep, clear of the noise, in the light."""
    return (
        not truth.is_lens
        and truth.depth_frac >= COUNTING_DEPTH_FRAC
        and truth.snr >= COUNTING_SNR
        and truth.light_frac >= COUNTING_LIGHT_FRAC
    )


def match(truths: Sequence[Truth], found: Sequence[Found]) -> Match:
    """Match reported marks with true ones so that as many as possible belong together.

    Parameters
    ----------
    truths : sequence of Truth
    found : sequence of Found

    Returns
    -------
    Match
    """
    rows_px = np.array([mark.row_px for mark in found], dtype=np.float64)
    cols_px = np.array([mark.col_px for mark in found], dtype=np.float64)
    ratio = np.full((len(truths), len(found)), np.inf)
    for index, truth in enumerate(truths):
        if found:
            ratio[index] = truth.reach_ratio(rows_px, cols_px)
    says_lens = np.array([mark.layer == "lens side" for mark in found], dtype=bool)
    groups = group_truths(truths)
    taken = _assign(_group_ratio(truths, groups, ratio, says_lens), groups)
    lens = [index for index, truth in enumerate(truths) if truth.is_lens]
    free = says_lens.copy()
    free[list(taken.values())] = False
    lens_ratio = np.where(free[None, :], ratio[lens], np.inf)
    lens_groups = [Group(members=(index,), is_counting=False) for index in lens]
    lens_taken = {lens[at]: mark for at, mark in _assign(lens_ratio, lens_groups).items()}
    used = set(taken.values()) | set(lens_taken.values())
    used |= _second_members(groups, taken, ratio, used)
    extra = tuple(index for index in range(len(found)) if index not in used)
    return Match(groups=groups, taken=taken, lens_taken=lens_taken, extra=extra)


def group_truths(truths: Sequence[Truth]) -> tuple[Group, ...]:
    """Take true marks on the sensor together that lie within 0.6 of a width."""
    order = [index for index, truth in enumerate(truths) if not truth.is_lens]
    parent = {index: index for index in order}

    def root(index: int) -> int:
        while parent[index] != index:
            index = parent[index]
        return index

    rows_px = np.array([truths[index].row_px for index in order])
    cols_px = np.array([truths[index].col_px for index in order])
    widths_px = np.array([truths[index].width_px for index in order])
    films = np.array([truths[index].is_film for index in order], dtype=bool)
    for index in order:
        truth = truths[index]
        wider_px = np.maximum(widths_px, truth.width_px)
        narrower_px = np.minimum(widths_px, truth.width_px)
        # One can look through a film: a grain that lies on it is a mark of its own.
        scale_px = np.where(films | truth.is_film, narrower_px, wider_px)
        near = truth.distance_px(rows_px, cols_px) < ONE_WITHIN_WIDTHS * scale_px
        for at in np.flatnonzero(near):
            parent[root(order[int(at)])] = root(index)
    members: dict[int, list[int]] = {}
    for index in order:
        members.setdefault(root(index), []).append(index)
    return tuple(
        Group(members=tuple(group), is_counting=any(is_counting(truths[at]) for at in group))
        for group in members.values()
    )


def _group_ratio(
    truths: Sequence[Truth],
    groups: Sequence[Group],
    ratio: NDArray[np.float64],
    says_lens: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Distance over reach of every report to every group; far where it cannot be meant."""
    nearest = np.full((len(groups), ratio.shape[1]), np.inf)
    for at, group in enumerate(groups):
        nearest[at] = ratio[list(group.members)].min(axis=0)
        if not any(truths[index].is_film for index in group.members):
            nearest[at, says_lens] = np.inf
    return nearest


def _assign(ratio: NDArray[np.float64], groups: Sequence[Group]) -> dict[int, int]:
    """Pair rows with columns within reach: counting ones first, then the nearest."""
    if ratio.size == 0:
        return {}
    worth = np.array([COUNTING_WORTH if g.is_counting else OTHER_WORTH for g in groups])
    feasible = ratio <= 1.0
    cost = np.where(feasible, np.where(feasible, ratio, 0.0) - worth[:, None], 0.0)
    rows, cols = linear_sum_assignment(cost)
    return {int(row): int(col) for row, col in zip(rows, cols, strict=True) if feasible[row, col]}


def _second_members(
    groups: Sequence[Group], taken: dict[int, int], ratio: NDArray[np.float64], used: set[int]
) -> set[int]:
    """Return further reports that point at a member of a group of several marks."""
    seconds: set[int] = set()
    for at, group in enumerate(groups):
        if at not in taken or len(group.members) == 1:
            continue
        near = np.flatnonzero((ratio[list(group.members)] <= 1.0).any(axis=0))
        spare = [int(index) for index in near if index not in used and index not in seconds]
        seconds.update(spare[: len(group.members) - 1])
    return seconds
