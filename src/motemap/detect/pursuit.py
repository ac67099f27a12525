"""Explain a clump as shadows of the usual shape that lie over one another.

Light that passes two shadows is lost twice, so their optical densities add. Shadows are put in one
by one where most is left to explain, and each time all are moved until the sum of squares is
least (matching pursuit: S. Mallat, Z. Zhang, IEEE Trans. Signal Proc. 41, 1993; moving all that
were found so far: Q. Denoyelle and others, Inverse Problems 36, 2020; both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.profile import REACH_RADII
from motemap.filters import correlated

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.detect.profile import Profile

    Shadows = NDArray[np.float64]
    """(n, 4): row, column, density in the middle and radius at half depth of each [cells]."""

ROW, COL, DENSITY, RADIUS = range(4)
N_NUMBERS = 4
NARROWEST, WIDEST = 0.82, 1.3
"""Radius of a shadow over the usual one; larger specks cast larger shadows ..."""
RADIUS_SPREAD = 0.05
"""... but most are so near to the usual."""
N_ROUNDS, LONGEST_MOVE, SHORTEST_MOVE, LARGEST_CHANGE = 8, 0.3, 0.02, 0.1
"""Rounds of a fit; the longest move of a centre in one, and the one that ends it; the largest
change of a radius; in radii."""
DAMPING, LEAST_DENSITY = 1e-3, 1e-4
TEMPLATE_RADII, SEEN_SHARE = 1.6, 0.3
"""How far a shadow is compared, in radii, and what share of one has to be seen to count in full."""
FAINTEST_OF_DEEPEST = 0.12
"""A shadow fainter than this share of the deepest may be a flaw in the shape of that one."""
TRIED_OF_DEEPEST = 0.04
CLEAR_GAIN = 30.0
"""A shadow counts when without it the sum of squares rose by so many times what is left a cell."""
NEAR_RADII = 4.0
NEAREST_RADII = 1.1
"""No two centres are nearer: 0.55 of a width."""
N_TURNS = 3
TINY = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What is to be explained.

    Parameters
    ----------
    density : (h, w) float64
        Optical density.
    cells : (h, w) bool
        The cells that count.
    profile : Profile
        Of the usual shadow.
    radius : float
        Its radius at half depth [cells].
    """

    density: NDArray[np.float64]
    cells: NDArray[np.bool_]
    profile: Profile
    radius: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """A clump as a sum of shadows.

    Parameters
    ----------
    shadows : (n, 4) float64
        Row, column, density and radius of each [cells].
    left_frac, held_frac : float
        Root mean square of the density that they leave, and of all.
    """

    shadows: Shadows
    left_frac: float
    held_frac: float


class Pursuit:
    """The fit of one clump; it keeps what is the same in all rounds."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        rows, cols = np.nonzero(ground.cells)
        self._rows = rows.astype(np.float64)[:, None]
        self._cols = cols.astype(np.float64)[:, None]
        self.values = ground.density[ground.cells]
        side = np.arange(-(reach := math.ceil(TEMPLATE_RADII * ground.radius)), reach + 1)
        away = np.hypot(side[:, None], side[None, :]) / ground.radius
        unbounded, usual = math.inf, ground.radius
        self._longest = np.array([LONGEST_MOVE, LONGEST_MOVE, unbounded, LARGEST_CHANGE]) * usual
        self._least = np.array([-unbounded, -unbounded, LEAST_DENSITY, NARROWEST * usual])
        self._most = np.array([unbounded, unbounded, unbounded, WIDEST * usual])
        self._template = ground.profile.at(away)

    def moved(
        self, shadows: Shadows, place: NDArray[np.float64] | None = None
    ) -> tuple[Shadows, NDArray[np.float64]]:
        """Move shadows towards the least sum of squares; return them and the density left.

        Only those near a place, (row, col), when one is given: what is changed there moves no
        others.
        """
        near = np.ones(len(shadows), bool)
        if place is not None:
            away = np.hypot(*(shadows[:, :DENSITY] - place).T)
            near = away < NEAR_RADII * self.ground.radius
        shadows = shadows.copy()
        rest = self.values - self._light(shadows[~near])
        own = shadows[near]
        if not len(own):
            return shadows, rest
        touched = self._touched(own)
        values, places = rest[touched], (self._rows[touched], self._cols[touched])
        for _ in range(N_ROUNDS):
            left, derivative = self._explained(own, values, places)
            step = self._step(own, left, derivative)
            own = np.minimum(np.maximum(own + step, self._least), self._most)
            if np.abs(step[:, :DENSITY]).max() < SHORTEST_MOVE * self.ground.radius:
                break
        shadows[near] = own
        return shadows, rest - self._light(own)

    def _touched(self, shadows: Shadows) -> NDArray[np.intp]:
        """Return which cells any of some shadows may lie on, moving a little."""
        reach = (REACH_RADII + LONGEST_MOVE) * self.ground.radius
        away2 = (self._rows - shadows[:, ROW]) ** 2 + (self._cols - shadows[:, COL]) ** 2
        return np.flatnonzero((away2 < reach * reach).any(axis=1))

    def _light(self, shadows: Shadows) -> NDArray[np.float64]:
        """Return the density of some shadows together, (cells,)."""
        total = np.zeros(len(self.values))
        if len(shadows):
            away = np.hypot(self._rows - shadows[:, ROW], self._cols - shadows[:, COL])
            total += self.ground.profile.at(away / shadows[:, RADIUS]) @ shadows[:, DENSITY]
        return total

    def next_shadow(self, left: NDArray[np.float64]) -> Shadows:
        """Return the one shadow, (1, 4), that explains most of what is left."""
        ground = self.ground
        field = np.zeros(ground.density.shape)
        field[ground.cells] = left
        square = self._template**2
        seen = correlated(ground.cells.astype(np.float64), square)
        weight = np.maximum(seen, SEEN_SHARE * float(square.sum()))
        answer = correlated(field, self._template)
        worth = np.where(ground.cells, answer / np.sqrt(weight), -np.inf)
        row, col = np.unravel_index(int(worth.argmax()), worth.shape)
        return np.array([[row, col, answer[row, col] / weight[row, col], ground.radius]])

    def needless(self, shadows: Shadows, left: NDArray[np.float64]) -> int | None:
        """Return a shadow that strayed, is too near to another, too faint, or explains nothing."""
        for index in np.argsort(shadows[:, DENSITY]).tolist():
            if self._strayed(shadows[index]) or _is_doubtful(shadows, index, self.ground.radius):
                return int(index)
        away = np.hypot(self._rows - shadows[:, ROW], self._cols - shadows[:, COL])
        shapes = self.ground.profile.at(away / shadows[:, RADIUS])
        # What the sum of squares rises by without one, the others' densities adapting.
        spread = np.diag(np.linalg.pinv(shapes.T @ shapes))
        gains = shadows[:, DENSITY] ** 2 / np.maximum(spread, TINY)
        weakest = int(gains.argmin())
        return weakest if gains[weakest] < CLEAR_GAIN * float(np.mean(left**2)) else None

    def _strayed(self, shadow: NDArray[np.float64]) -> bool:
        place = np.rint(shadow[:DENSITY]).astype(int)
        is_within = bool((place >= 0).all() and (place < self.ground.cells.shape).all())
        return not (is_within and self.ground.cells[tuple(place)])

    def _step(
        self, shadows: Shadows, left: NDArray[np.float64], derivative: NDArray[np.float64]
    ) -> Shadows:
        """Return a damped step of Gauss and Newton, each radius held near the usual one."""
        usual = self.ground.radius
        stiffness = max(float((left * left).sum()) / len(left), TINY) / (RADIUS_SPREAD * usual) ** 2
        normal, pull = derivative.T @ derivative, derivative.T @ left
        pull[RADIUS::N_NUMBERS] += stiffness * (usual - shadows[:, RADIUS])
        diagonal = np.diagonal(normal) * DAMPING + TINY
        diagonal[RADIUS::N_NUMBERS] += stiffness
        normal.ravel()[:: len(normal) + 1] += diagonal
        step = np.linalg.solve(normal, pull).reshape(-1, N_NUMBERS)
        bounded: Shadows = np.minimum(np.maximum(step, -self._longest), self._longest)
        return bounded

    def _explained(
        self,
        shadows: Shadows,
        values: NDArray[np.float64],
        places: tuple[NDArray[np.float64], NDArray[np.float64]],
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return what is left of the values of n cells, and how each number tells in them.

        `places` are the rows and columns of the cells, (n, 1) each.
        """
        row, col, density, radius = shadows.T
        down, right = places[0] - row, places[1] - col
        away = np.sqrt(down * down + right * right) + TINY
        value, slope = self.ground.profile.with_slope(away / radius)
        steep = slope * (density / radius)
        along = steep / away
        derivative = np.empty((*away.shape, N_NUMBERS))
        np.multiply(-along, down, out=derivative[:, :, ROW])
        np.multiply(-along, right, out=derivative[:, :, COL])
        derivative[:, :, DENSITY] = value
        np.multiply(-steep, away / radius, out=derivative[:, :, RADIUS])
        return values - value @ density, derivative.reshape(len(values), -1)


def _is_doubtful(shadows: Shadows, index: int, radius: float) -> bool:
    """Tell a shadow much fainter than the deepest, or one that a deeper one lies too near to."""
    row, col, density, _ = shadows[index]
    deeper = shadows[:, DENSITY] > density
    if not deeper.any():
        return False
    nearest = np.hypot(shadows[deeper, ROW] - row, shadows[deeper, COL] - col).min()
    is_faint = density < FAINTEST_OF_DEEPEST * shadows[:, DENSITY].max()
    return bool(is_faint or nearest < NEAREST_RADII * radius)


def explain(
    ground: Ground,
    starts: Sequence[tuple[float, float]],
    *,
    n_most: int,
    enough_frac: float = 0.0,
) -> Fit:
    """Find the shadows that a clump is made of.

    Parameters
    ----------
    ground : Ground
    starts : sequence of (row, col)
        Where the first shadows lie; at least one.
    n_most : int
        No more are looked for.
    enough_frac : float
        No more are looked for when the first leave no more than this.
    """
    pursuit = Pursuit(ground)
    first = [
        (row, col, max(float(ground.density[round(row), round(col)]), LEAST_DENSITY), ground.radius)
        for row, col in starts
    ]
    shadows, left = pursuit.moved(np.array(first, dtype=np.float64))
    if _rms(left) > enough_frac and len(shadows) < n_most:
        shadows, left = _pursued(pursuit, shadows, left, n_most)
    return Fit(shadows=shadows, left_frac=_rms(left), held_frac=_rms(pursuit.values))


def _rms(values: NDArray[np.float64]) -> float:
    return math.sqrt(float(values @ values) / len(values))


def _pursued(
    pursuit: Pursuit, shadows: Shadows, left: NDArray[np.float64], n_most: int
) -> tuple[Shadows, NDArray[np.float64]]:
    """Put in what is missing and leave out what is needless, by turns.

    Where all but one turned out needless, another turn would put in the same again.
    """
    for _ in range(N_TURNS):
        shadows, left = _added(pursuit, shadows, left, n_most)
        n_before = len(shadows)
        while len(shadows) > 1 and (worst := pursuit.needless(shadows, left)) is not None:
            shadows, left = pursuit.moved(
                np.delete(shadows, worst, axis=0), shadows[worst, :DENSITY]
            )
        if len(shadows) in (1, n_before):
            break
    return shadows, left


def _added(
    pursuit: Pursuit, shadows: Shadows, left: NDArray[np.float64], n_most: int
) -> tuple[Shadows, NDArray[np.float64]]:
    """Put in shadows one by one as long as they explain enough, `n_most` in all; move them."""
    while len(shadows) < n_most:
        new = pursuit.next_shadow(left)
        if new[0, DENSITY] < TRIED_OF_DEEPEST * shadows[:, DENSITY].max():
            break
        more, rest = pursuit.moved(np.concatenate([shadows, new]), new[0, :DENSITY])
        before, after = float(left @ left), float(rest @ rest)
        if before - after < CLEAR_GAIN * after / len(rest):
            break
        shadows, left = more, rest
    # A single one has just been moved.
    return pursuit.moved(shadows) if len(shadows) > 1 else (shadows, left)
