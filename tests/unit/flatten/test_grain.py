"""Grains that noise reduction leaves on plateaus of one code."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fields import bell, flat_frame, noisy
from motemap.coords import FramePoint
from motemap.flatten import are_grains
from motemap.records import Cells, FlatFrame, MeasuredSpot, MeasuredSpots, Regions

if TYPE_CHECKING:
    from collections.abc import Sequence

SHAPE = (240, 360)
STEP_FRAC = 0.03
PLACES = ((60, 100), (150, 250))
"""Where a mark as deep as grains are bright lies, and a deeper one."""
DEPTHS = (0.05, 0.075)


def frame(
    *,
    bright_frac: float,
    n_bright: int = 4,
    places: Sequence[tuple[int, int]] = PLACES,
    depths: Sequence[float] = DEPTHS,
) -> FlatFrame:
    """Return two marks on a plateau of one code, or more, and some bright grains."""
    contrast = np.zeros(SHAPE, np.float32)
    for (row, col), depth in zip(places, depths, strict=True):
        contrast += bell(SHAPE, row, col, 2.5, depth)
    for number in range(n_bright):
        contrast -= bell(SHAPE, 200, 40 + 60 * number, 2.5, bright_frac)
    step = np.full(SHAPE, STEP_FRAC, np.float32)
    return replace(flat_frame(contrast, 0.001, floor_frac=step), step_frac=step)


def told(
    flat: FlatFrame,
    calm_frac: float = 0.001,
    *,
    places: Sequence[tuple[int, int]] = PLACES,
    depths: Sequence[float] = DEPTHS,
) -> list[bool]:
    masks = [bell(SHAPE, row, col, 2.5, 1.0) < -0.5 for row, col in places]
    cells = Cells.of(masks, [(0, 0)] * len(masks))
    start, stop = cells.sides()
    regions = Regions(
        cells=cells,
        start=start,
        stop=stop,
        snr=np.full(len(masks), 9.0),
        scale_cell=np.ones(len(masks)),
        thickness_cell=np.full(len(masks), 4.0),
    )
    spots = [
        MeasuredSpot(
            centre=FramePoint(row_px=float(row), col_px=float(col)),
            depth_frac=depth,
            snr=20.0,
            width_px=6.0,
            length_px=6.0,
            lost_area_px2=2.0,
            gain_ratio=0.0,
            hollow_frac=1.0,
            edge_px=4.0,
            calm_frac=calm_frac,
        )
        for (row, col), depth in zip(places, depths, strict=True)
    ]
    marked = np.zeros((SHAPE[0] // 2, SHAPE[1] // 2), np.bool_)
    marked[cells.row // 2, cells.col // 2] = True
    is_asked = np.ones(len(masks), np.bool_)
    grains = are_grains(flat, regions, MeasuredSpots.of(spots), is_asked, marked)
    return [bool(is_grain) for is_grain in grains]


def test_marks_no_deeper_than_grains_are_bright_may_be_grains() -> None:
    assert told(frame(bright_frac=0.05)) == [True, False]


def test_where_far_more_marks_are_as_deep_as_grains_are_bright_they_are_marks() -> None:
    many = tuple((row, col) for row in (30, 75, 120) for col in range(40, 340, 60))
    flat = frame(bright_frac=0.05, places=many, depths=(0.05,) * len(many))
    assert told(flat, places=many, depths=(0.05,) * len(many)) == [False] * len(many)


def test_noise_off_the_plateaus_tells_nothing_of_grains_on_them() -> None:
    flat = frame(bright_frac=0.0)
    uneven = np.asarray(flat.contrast[:, :]).copy()
    uneven[:, 290:] += noisy((SHAPE[0], 70), 3 * STEP_FRAC, 3)
    assert told(replace(flat, contrast=uneven)) == [False, False]


def test_a_grain_between_two_strips_counts_once() -> None:
    flat = frame(bright_frac=0.0)
    uneven = np.asarray(flat.contrast[:, :]).copy()
    for col in (40, 330):
        uneven -= bell(SHAPE, 127.5, col, 2.5, 0.05)
    assert told(replace(flat, contrast=uneven)) == [False, False]


def test_a_few_bright_spots_are_no_grain() -> None:
    assert told(frame(bright_frac=0.05, n_bright=2)) == [False, False]


def test_marks_deeper_than_grains_are_bright_are_none() -> None:
    assert told(frame(bright_frac=0.035)) == [False, False]


def test_off_the_plateaus_noise_tells_itself() -> None:
    assert told(frame(bright_frac=0.05), calm_frac=0.02) == [False, False]


def test_fine_codes_have_no_plateaus() -> None:
    assert told(replace(frame(bright_frac=0.05), step_frac=None)) == [False, False]
