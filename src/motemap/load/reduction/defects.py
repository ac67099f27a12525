"""Hot and dead pixels, told from dust by how alone they stand.

Neighbours two pixels away lie in the same place of a 2x2 mosaic, and a defect of up to 2x2
pixels does not reach them. A pixel is a candidate when it lies beyond those on its left and
right, or those above and below, by several sigma of the local noise. Even the sharpest shadow
still darkens the neighbours of its core: one 4 px wide at half depth leaves about half of its
depth two pixels off the middle, and more than that one pixel off. So a candidate stays when
the most similar of its eight neighbours shares nearly half of its deviation (which may be a
second defect) and one of its four direct neighbours shares it too. Clusters of up to 3x3 have
a middle that is alone; its eight direct neighbours are then tried against the ring four pixels
away.

Where each value is one photosite's own, a narrower shadow can be told as well: it falls off to
all sides over a pixel or two, a cluster of defects ends at once. A finished picture smears
defects over their neighbours until they look just like that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import largest_steps
from motemap.load.reduction.scratch import Scratch
from motemap.strips import row_strips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Pixels = NDArray[np.intp]

MARGIN_PX = 6
"""Rows and columns of context that `find_defects` wants on every side."""

CANDIDATE_SIGMA = 5.0
"""How far beyond its neighbours a pixel must lie, in sigmas of single pixels."""

_STEP_PX = 2
"""Neighbours of one colour, in the same place of a 2x2 mosaic, lie so far apart."""
_RIM_PX = 1
"""Rows above and below a strip in which candidates are sought, as clusters may reach across."""
_SHARED_FRAC = 0.45
"""Share of a pixel's deviation that its neighbours have in a shadow: nearly half, see the top."""
_N_WEAKEST = 5
"""Neighbours of eight: a cluster's corner has so many outside, so has a shadow's, but darkened."""
_FALLS_OFF_FRAC = (0.18, 0.85)
"""Least mean share of those, and most of any of them, round a pixel of a narrow shadow (derived:
Gaussians two pixels and more wide at half depth, anywhere on the pixels)."""
_CROWD_FRAC = 0.01
"""Share of the pixels beyond which candidates are no defects but texture; a choice."""
_ROWS_AT_ONCE = 12
"""Rows compared at a time, so few that they stay in the processor's nearest cache."""

_NEAR_REACH, _FAR_REACH = 1, 2
_HOT, _DEAD = 1, -1


def _ring(reach: int, step_px: int) -> NDArray[np.intp]:
    """Return the (n, 2) row and column steps of a square ring of that reach."""
    span = range(-reach, reach + 1)
    steps = [(row, col) for row in span for col in span if max(abs(row), abs(col)) == reach]
    return np.array(steps, dtype=np.intp) * step_px


_NEAR = _ring(_NEAR_REACH, _STEP_PX)
_FAR = _ring(_FAR_REACH, _STEP_PX)
_DIRECT = _ring(_NEAR_REACH, 1)
_SQUARE = np.vstack([_DIRECT, [(0, 0)]])
_LINES = np.array([(0, -1), (0, 1), (-1, 0), (1, 0)], dtype=np.intp) * _STEP_PX
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


def find_defects(
    padded: NDArray[np.uint16],
    threshold: NDArray[np.uint16],
    black: NDArray[np.float32],
    scratch: Scratch | None = None,
    *,
    has_photosites: bool = False,
) -> Defects:
    """Find hot and dead pixels in a strip whose colours are level or repeat every 2 px.

    Parameters
    ----------
    padded : (R + 12, W + 12) uint16
        A strip with `MARGIN_PX` of context all round, contiguous.
    threshold : (p, W) uint16
        `CANDIDATE_SIGMA` sigmas of the noise, for each row of the mosaic's repeat.
    black : (p, p) float32
        Values without light, for each place of the mosaic's repeat.
    scratch : Scratch, optional
        Arrays to work in, when there are more strips than one.
    has_photosites : bool
        Whether each value is one photosite's own.
    """
    strip = _Strip(
        padded=padded,
        values_in_line=padded.reshape(-1),
        threshold=threshold,
        black=black,
        has_photosites=has_photosites,
    )
    found, sign = _candidates(strip, Scratch() if scratch is None else scratch)
    flagged = _lone(strip, found, sign) if len(found) else found
    n_rows, n_cols = (side - 2 * MARGIN_PX for side in padded.shape)
    rows, cols = (line - MARGIN_PX for line in np.divmod(flagged, padded.shape[1]))
    is_inside = (rows >= 0) & (rows < n_rows) & (cols >= 0) & (cols < n_cols)
    at = flagged[is_inside]
    # Most strips have none, and many calls for no pixels take as long as for some.
    repaired = _repaired(strip, at, flagged) if len(at) else np.zeros(0, np.float32)
    return Defects(rows=rows[is_inside], cols=cols[is_inside], repaired=repaired)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Strip:
    """A strip in which a pixel's position is one number, counted row after row."""

    padded: NDArray[np.uint16]
    values_in_line: NDArray[np.uint16]
    threshold: NDArray[np.uint16]
    black: NDArray[np.float32]
    has_photosites: bool

    def values(self, at: Pixels) -> NDArray[np.int32]:
        """Return the values at positions."""
        return self.values_in_line[at].astype(np.int32)

    def around(self, at: Pixels, ring: NDArray[np.intp]) -> Pixels:
        """Return (..., n) positions of a ring of (n, 2) steps round each position."""
        return np.asarray(at[..., None] + (ring[:, 0] * self.padded.shape[1] + ring[:, 1]))

    def limits(self, at: Pixels) -> NDArray[np.int32]:
        """Return the thresholds at positions; the margin has those of its edge."""
        rows, cols = np.divmod(at, self.padded.shape[1])
        rows = (rows - MARGIN_PX) % self.threshold.shape[0]
        cols = np.minimum(np.maximum(cols - MARGIN_PX, 0), self.threshold.shape[1] - 1)
        return np.asarray(self.threshold[rows, cols], dtype=np.int32)

    def blacks(self, at: Pixels) -> NDArray[np.float32]:
        """Return the values without light at positions."""
        period_px = self.black.shape[0]
        rows, cols = (
            (line - MARGIN_PX) % period_px for line in np.divmod(at, self.padded.shape[1])
        )
        return np.asarray(self.black[rows, cols], dtype=np.float32)


def _candidates(strip: _Strip, scratch: Scratch) -> tuple[Pixels, NDArray[np.int32]]:
    """Return positions beyond their neighbours, and whether above (1) or below (-1) them.

    In the strip and one row above and below. Who lies beyond both neighbours of a line also
    lies far from the one before: hardly a sound pixel does, so that alone is asked of all of
    them.
    """
    padded = strip.padded
    first, last = MARGIN_PX - _RIM_PX, padded.shape[0] - MARGIN_PX + _RIM_PX
    reached = padded[first - _STEP_PX : last, MARGIN_PX - _STEP_PX : -MARGIN_PX]
    is_far = _is_far(reached, strip.threshold, scratch)
    far = np.flatnonzero(is_far)
    rows, in_cols = np.divmod(far, is_far.shape[1])
    at = (rows + first) * padded.shape[1] + in_cols + MARGIN_PX
    values = strip.values(at)
    limits = strip.threshold[(rows - _RIM_PX) % len(strip.threshold), in_cols]
    left, right, up, down = strip.values(strip.around(at, _LINES)).T
    floor = np.minimum(np.maximum(left, right), np.maximum(up, down))
    ceiling = np.maximum(np.minimum(left, right), np.minimum(up, down))
    return _uncrowded(at[values - floor > limits], at[ceiling - values > limits], padded.size)


def _is_far(
    reached: NDArray[np.uint16], threshold: NDArray[np.uint16], scratch: Scratch
) -> NDArray[np.bool_]:
    """Return which pixels lie far from the one on their left or the one above them.

    A few rows at a time, so that all of it stays in the processor's nearest cache.
    """
    n_rows, width_px = (side - _STEP_PX for side in reached.shape)
    is_far = scratch.array("is_far", (n_rows, width_px), np.bool_)
    period_px = threshold.shape[0]
    for rows in row_strips(n_rows, _ROWS_AT_ONCE):
        n_here = rows.stop - rows.start
        room = scratch.array("steps", (2, n_here, width_px), np.uint16)
        steps = largest_steps(reached[rows.start : rows.stop + _STEP_PX], _STEP_PX, room)
        for row in range(min(period_px, n_here)):
            limit = threshold[(rows.start + row - _RIM_PX) % period_px]
            np.greater(steps[row::period_px], limit, out=is_far[rows][row::period_px])
    return is_far


def _uncrowded(hot: Pixels, dead: Pixels, n_pixels: int) -> tuple[Pixels, NDArray[np.int32]]:
    """Put both kinds together, without one so frequent that it is no defect but texture."""
    most = _CROWD_FRAC * n_pixels
    kept = [(at, sign) for at, sign in ((hot, _HOT), (dead, _DEAD)) if len(at) <= most]
    signs = [np.full(len(at), sign, dtype=np.int32) for at, sign in kept]
    if not kept:
        return hot[:0], np.zeros(0, dtype=np.int32)
    return np.concatenate([at for at, _ in kept]), np.concatenate(signs)


def _lone(strip: _Strip, found: Pixels, sign: NDArray[np.int32]) -> Pixels:
    """Return, in order, the candidates that no shadow could explain, and what clings to them."""
    around = _median(strip.values(strip.around(found, _FAR)))
    limits = strip.limits(found)
    deviation = sign * (strip.values(found) - around)
    stands_out = deviation > limits
    if not stands_out.any():
        return found[:0]
    found, sign, limits = found[stands_out], sign[stands_out], limits[stands_out]
    around, deviation = around[stands_out], deviation[stands_out]
    near = strip.values(strip.around(found, _NEAR))
    shared = (sign[:, None] * (near - around[:, None])).max(axis=1)
    is_lone = shared + limits / CANDIDATE_SIGMA < _SHARED_FRAC * deviation
    relative = sign * deviation / np.maximum(around - strip.blacks(found), 1)
    is_lone[~is_lone] = _is_unshared(strip, found[~is_lone], relative[~is_lone])
    if strip.has_photosites:
        is_lone &= ~_are_beside_cores(strip, found, relative, is_lone & (sign == _DEAD))
    if not is_lone.any():
        return found[:0]
    seeds = found[is_lone]
    clinging = strip.around(seeds, _DIRECT).reshape(-1)
    sign = np.repeat(sign[is_lone], len(_DIRECT))
    ring = sign[:, None] * strip.values(strip.around(clinging, _FAR))
    is_beyond = sign * strip.values(clinging) - ring.max(axis=1) > strip.limits(clinging)
    return _ordered(np.concatenate([seeds, clinging[is_beyond]]))


def _ordered(at: Pixels) -> Pixels:
    """Return positions in order and each once; for few of them faster than NumPy's own."""
    ordered = np.sort(at)
    return ordered[np.diff(ordered, prepend=-1) > 0]


def _median(values: NDArray[np.int32]) -> NDArray[np.float64]:
    """Return medians of an even number of values; for few rows far cheaper than NumPy's own."""
    half = values.shape[-1] // 2
    return np.asarray(np.sort(values, axis=-1)[..., half - 1 : half + 1].mean(axis=-1))


def _is_unshared(
    strip: _Strip, found: Pixels, relative_deviation: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether the four direct neighbours lie where they should, each by its own colour."""
    shares = _shares(strip, found, relative_deviation, _BESIDE)
    return np.asarray(shares.max(axis=1) < _SHARED_FRAC, dtype=np.bool_)


def _are_beside_cores(
    strip: _Strip,
    found: Pixels,
    relative_deviation: NDArray[np.float64],
    is_asked: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Say of some dark pixels whether they are the core of a narrow shadow, or touch one."""
    beside = strip.around(found[is_asked], _SQUARE)
    is_near = _is_among(found, _ordered(beside.ravel())) & (relative_deviation < 0)
    near = found[is_near]
    cores = _ordered(near[_falls_off(strip, near, relative_deviation[is_near])])
    answer = np.zeros(len(found), np.bool_)
    answer[is_asked] = _is_among(beside, cores).any(axis=1)
    return answer


def _falls_off(
    strip: _Strip, found: Pixels, relative_deviation: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether the light comes back over a pixel or two on all sides, as round a shadow."""
    shares = np.sort(_shares(strip, found, relative_deviation, _DIRECT), axis=1)[:, :_N_WEAKEST]
    least, most = _FALLS_OFF_FRAC
    return np.asarray((shares.mean(axis=1) >= least) & (shares[:, -1] <= most), dtype=np.bool_)


def _shares(
    strip: _Strip,
    found: Pixels,
    relative_deviation: NDArray[np.float64],
    ring: NDArray[np.intp],
) -> NDArray[np.float64]:
    """Return what share of a pixel's deviation those of a ring have, each by its own colour.

    Of the light that each colour has: with the black level in it, a dead pixel of a bright colour
    would lack a larger share than one of a dark colour, and a cluster look like a shadow.
    """
    beside = strip.around(found, ring)
    black = strip.blacks(beside)
    level = _median(strip.values(strip.around(beside, _FAR))) - black
    light = strip.values(beside) - black
    shares = (light / np.maximum(level, 1) - 1) / relative_deviation[:, None]
    return np.asarray(shares, dtype=np.float64)


def _repaired(strip: _Strip, at: Pixels, flagged: Pixels) -> NDArray[np.float32]:
    """Return the mean of the sound ones among the near neighbours, else among the far ones."""
    means = []
    for ring in (_NEAR, _FAR):
        around = strip.around(at, ring)
        weights = ~_is_among(around, flagged)
        total = np.sum(strip.values(around) * weights, axis=1)
        means.append((total, weights.sum(axis=1)))
    (near, n_near), (far, n_far) = means
    mean = np.where(n_near > 0, near / np.maximum(n_near, 1), far / np.maximum(n_far, 1))
    return np.asarray(mean, dtype=np.float32)


def _is_among(at: Pixels, ordered: Pixels) -> NDArray[np.bool_]:
    if not len(ordered):
        return np.zeros(at.shape, dtype=bool)
    place = np.minimum(np.searchsorted(ordered, at), len(ordered) - 1)
    return np.asarray(ordered[place] == at, dtype=np.bool_)
