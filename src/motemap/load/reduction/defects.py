"""Hot and dead pixels, told from dust by how alone they stand.

Neighbours two pixels away lie in the same place of a 2x2 mosaic, and a defect of up to 2x2
pixels does not reach them. A pixel is a candidate when it lies beyond those on its left and
right, or those above and below, by several sigma of the local noise. Even the sharpest shadow
still darkens the neighbours of its core: one 4 px wide at half depth leaves about half of its
depth two pixels off the middle, and more than that one pixel off. So a candidate stays when
the most similar of its eight neighbours shares nearly half of its deviation (which may be a
second defect) and one of its four direct neighbours shares it too. Clusters of up to 3x3 have a middle that
is alone; its eight direct neighbours are then tried against the ring four pixels away.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Pixels = NDArray[np.intp]

MARGIN_PX = 6
"""Rows and columns of context that `find_defects` wants on every side."""

CANDIDATE_SIGMA = 5.0
"""How far beyond its neighbours a pixel must lie, in sigmas of single pixels."""

_STEP_PX = 2
_RIM_PX = 1
_SHARED_FRAC = 0.45
_CROWD_FRAC = 0.01

_NEAR_REACH, _FAR_REACH = 1, 2


def _ring(reach: int, step_px: int) -> NDArray[np.intp]:
    """Return the (n, 2) row and column steps of a square ring of that reach."""
    span = range(-reach, reach + 1)
    steps = [(row, col) for row in span for col in span if max(abs(row), abs(col)) == reach]
    return np.array(steps, dtype=np.intp) * step_px


_NEAR = _ring(_NEAR_REACH, _STEP_PX)
_FAR = _ring(_FAR_REACH, _STEP_PX)
_DIRECT = _ring(_NEAR_REACH, 1)
_BESIDE = np.array([(-1, 0), (0, -1), (0, 1), (1, 0)], dtype=np.intp)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Defects:
    """Pixels to leave out, and what to put there instead.

    Parameters
    ----------
    rows, cols : (n,) int
        Position in the strip without its margin.
    repaired : (n,) float32
        Mean of sound neighbours, in the units of the strip.
    """

    rows: Pixels
    cols: Pixels
    repaired: NDArray[np.float32]


def find_defects(padded: NDArray[np.uint16], threshold: NDArray[np.uint16]) -> Defects:
    """Find hot and dead pixels in a strip whose colours are level or repeat every 2 px.

    Parameters
    ----------
    padded : (R + 12, W + 12) uint16
        A strip with `MARGIN_PX` of context all round.
    threshold : (p, W) uint16
        `CANDIDATE_SIGMA` sigmas of the noise, for each row of the mosaic's repeat.
    """
    strip = _Strip(padded=padded, threshold=threshold.astype(np.int32))
    flagged = np.zeros(padded.shape, dtype=bool)
    for is_hot in (True, False):
        found = _candidates(padded, threshold, is_hot=is_hot)
        if 0 < len(found) <= _CROWD_FRAC * padded.size:
            _flag_lone(strip, found, flagged, is_hot=is_hot)
    at = _positions(flagged[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX])
    repaired = _repaired(padded, flagged, at + MARGIN_PX)
    return Defects(rows=at[:, 0], cols=at[:, 1], repaired=repaired)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Strip:
    padded: NDArray[np.uint16]
    threshold: NDArray[np.int32]

    def values(self, at: Pixels) -> NDArray[np.int32]:
        """Return the values at (..., 2) positions."""
        return self.padded[at[..., 0], at[..., 1]].astype(np.int32)

    def limits(self, at: Pixels) -> NDArray[np.int32]:
        """Return the thresholds at (n, 2) positions; the margin has those of its edge."""
        rows = (at[:, 0] - MARGIN_PX) % self.threshold.shape[0]
        cols = np.clip(at[:, 1] - MARGIN_PX, 0, self.threshold.shape[1] - 1)
        return np.asarray(self.threshold[rows, cols], dtype=np.int32)


def _candidates(
    padded: NDArray[np.uint16], threshold: NDArray[np.uint16], *, is_hot: bool
) -> Pixels:
    """Return (n, 2) positions beyond their neighbours, in the strip and one row above and below.

    Works on whole rows of 16-bit numbers without a sign: the fastest form there is, and every
    difference is taken so that it cannot be negative.
    """
    widest, nearest = (np.maximum, np.minimum) if is_hot else (np.minimum, np.maximum)
    first, last = MARGIN_PX - _RIM_PX, padded.shape[0] - MARGIN_PX + _RIM_PX
    rows = padded[first - _STEP_PX : last + _STEP_PX, MARGIN_PX - _STEP_PX : _STEP_PX - MARGIN_PX]
    centre = rows[_STEP_PX:-_STEP_PX, _STEP_PX:-_STEP_PX]
    middle, inner = rows[_STEP_PX:-_STEP_PX], rows[:, _STEP_PX:-_STEP_PX]
    within = widest(middle[:, : -2 * _STEP_PX], middle[:, 2 * _STEP_PX :])
    nearest(within, widest(inner[: -2 * _STEP_PX], inner[2 * _STEP_PX :]), out=within)
    nearest(within, centre, out=within)
    excess = centre - within if is_hot else within - centre
    is_beyond = np.empty(excess.shape, dtype=bool)
    period_px = threshold.shape[0]
    for row in range(period_px):
        limit = threshold[(row - _RIM_PX) % period_px]
        np.greater(excess[row::period_px], limit, out=is_beyond[row::period_px])
    return np.asarray(_positions(is_beyond) + np.array([first, MARGIN_PX]), dtype=np.intp)


def _positions(mask: NDArray[np.bool_]) -> Pixels:
    """Return (n, 2) positions of what is True; much faster than asking by rows and columns."""
    return np.stack(np.divmod(np.flatnonzero(mask), mask.shape[1]), axis=1)


def _flag_lone(strip: _Strip, found: Pixels, flagged: NDArray[np.bool_], *, is_hot: bool) -> None:
    """Mark the candidates that no shadow could explain, and what clings to them."""
    sign = 1 if is_hot else -1
    around = np.median(strip.values(found[:, None] + _FAR), axis=1)
    limits = strip.limits(found)
    deviation = sign * (strip.values(found) - around)
    stands_out = deviation > limits
    found, around, limits = found[stands_out], around[stands_out], limits[stands_out]
    deviation = deviation[stands_out]
    near = strip.values(found[:, None] + _NEAR)
    shared = (sign * (near - around[:, None])).max(axis=1)
    is_lone = shared + limits / CANDIDATE_SIGMA < _SHARED_FRAC * deviation
    relative = sign * deviation / np.maximum(around, 1)
    is_lone[~is_lone] = _is_unshared(strip, found[~is_lone], relative[~is_lone])
    seeds = found[is_lone]
    flagged[seeds[:, 0], seeds[:, 1]] = True
    clinging = (seeds[:, None] + _DIRECT).reshape(-1, 2)
    ring = sign * strip.values(clinging[:, None] + _FAR)
    is_beyond = sign * strip.values(clinging) - ring.max(axis=1) > strip.limits(clinging)
    clinging = clinging[is_beyond]
    flagged[clinging[:, 0], clinging[:, 1]] = True


def _is_unshared(
    strip: _Strip, found: Pixels, relative_deviation: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether the four direct neighbours lie where they should, each by its own colour."""
    beside = found[:, None] + _BESIDE
    level = np.median(strip.values(beside[:, :, None] + _FAR), axis=2)
    shares = (strip.values(beside) / np.maximum(level, 1) - 1) / relative_deviation[:, None]
    return np.asarray(shares.max(axis=1) < _SHARED_FRAC, dtype=np.bool_)


def _repaired(
    padded: NDArray[np.uint16], flagged: NDArray[np.bool_], at: Pixels
) -> NDArray[np.float32]:
    """Return the mean of the sound ones among the near neighbours, else among the far ones."""
    means = []
    for ring in (_NEAR, _FAR):
        rows, cols = np.moveaxis(at[:, None] + ring, -1, 0)
        weights = ~flagged[rows, cols]
        total = np.sum(padded[rows, cols] * weights, axis=1)
        means.append((total, weights.sum(axis=1)))
    (near, n_near), (far, n_far) = means
    mean = np.where(n_near > 0, near / np.maximum(n_near, 1), far / np.maximum(n_far, 1))
    return np.asarray(mean, dtype=np.float32)
