"""Masked strips that a raw file counts to the picture although no light falls on them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.load.reduction.samples import WIDE_MOSAIC_SIDE_PX

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.load.reduction.samples import StoredSamples

_DEEPEST_PX = 96
"""Masked strips looked for are no wider; a choice, made large."""
_INSIDE_PX = 16
"""Lines next to a strip that it is held against."""
_DARK_FRAC = 0.5
"""A masked strip is darker than this share of those lines; see `lit_area`."""
_LINES = 48
"""Rows or columns, all over the picture, whose median tells the light of a line."""


def lit_area(samples: StoredSamples, phase_level: NDArray[np.float32]) -> tuple[slice, slice]:
    """Return rows and columns between masked border strips, if there are any.

    A strip counts as masked when it is darker than half of the lines next to it: far more than
    any lens darkens within a few pixels. Pictures from programs have no such strips.
    """
    height_px, width_px = samples.height_px, samples.width_px
    everything = slice(0, height_px), slice(0, width_px)
    if not samples.is_raw or min(height_px, width_px) < 2 * (_DEEPEST_PX + _INSIDE_PX):
        return everything
    rows = _row_profile(samples, phase_level)
    cols = _column_profile(samples, phase_level)
    top, bottom = _masked_lines(rows[0]), _masked_lines(rows[1][::-1])
    left, right = _masked_lines(cols[0]), _masked_lines(cols[1][::-1])
    return slice(top, height_px - bottom), slice(left, width_px - right)


def _masked_lines(profile: NDArray[np.float32]) -> int:
    """Return how many lines at the start are masked, 0 when none is."""
    near = profile[: _DEEPEST_PX + _INSIDE_PX]
    inside = np.lib.stride_tricks.sliding_window_view(near, _INSIDE_PX)
    lit = np.median(inside, axis=1)[1 : _DEEPEST_PX + 1]
    is_step = np.maximum.accumulate(near[:_DEEPEST_PX]) < _DARK_FRAC * lit
    steps = np.flatnonzero(is_step)
    return int(steps[-1]) + 1 if len(steps) else 0


def _column_profile(
    samples: StoredSamples, phase_level: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the light of the first and of the last columns."""
    rows = _spread(samples.height_px)
    first, last = _ends(samples.width_px)
    cols = np.concatenate([first, last])
    stored = np.concatenate([samples.read_rows(row, row + 1)[:, cols] for row in rows])
    light = _light(stored, (rows, cols), samples, phase_level)
    profile = np.median(light, axis=0).astype(np.float32)
    return profile[: len(first)], profile[len(first) :]


def _row_profile(
    samples: StoredSamples, phase_level: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the light of the first and of the last rows."""
    cols = _spread(samples.width_px)
    profiles = []
    for rows in _ends(samples.height_px):
        stored = samples.read_rows(int(rows[0]), int(rows[-1]) + 1)[:, cols]
        light = _light(stored, (rows, cols), samples, phase_level)
        profiles.append(np.median(light, axis=1).astype(np.float32))
    return profiles[0], profiles[1]


def _ends(side_px: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the numbers of the first and of the last lines that are looked at."""
    first = np.arange(_DEEPEST_PX + _INSIDE_PX)
    return first, first + (side_px - len(first))


def _spread(side_px: int) -> NDArray[np.intp]:
    """Return line numbers all over the side, in every place of the mosaic's repeat."""
    step_px = max(1, side_px // _LINES)
    while math.gcd(step_px, WIDE_MOSAIC_SIDE_PX) > 1:
        step_px -= 1
    return np.arange(0, side_px, step_px)


def _light(
    stored: NDArray[np.uint16],
    at: tuple[NDArray[np.intp], NDArray[np.intp]],
    samples: StoredSamples,
    phase_level: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Return stored values at rows and columns as shares of their colour's level."""
    phases = np.ix_(at[0] % samples.period_px, at[1] % samples.period_px)
    light = (stored - samples.black[phases]) / phase_level[phases]
    return np.asarray(light, dtype=np.float32)
