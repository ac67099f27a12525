"""Move shadows, of many clumps at once, until they explain these best.

A call of numpy on one clump's few hundred cells costs more than its arithmetic. So clumps with as
many shadows are piled up, and each leaves the pile when its shadows have come to rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.grounds import PatchPile
from motemap.detect.profile import REACH_RADII
from motemap.filters import STACK_CELLS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.detect.grounds import Patch
    from motemap.detect.profile import Profile

    Shadows = NDArray[np.float64]
    """(..., n, 4): row, column, density in the middle and radius at half depth of each [cells]."""

ROW, COL, DENSITY, RADIUS = range(4)
N_NUMBERS = 4
"""Places of the numbers of one shadow, and how many they are."""
NARROWEST, WIDEST = 0.82, 1.3
"""Radius of a shadow over the usual one; larger specks cast larger shadows ..."""
RADIUS_SPREAD = 0.05
"""... but most are so near to the usual."""
N_ROUNDS, LONGEST_MOVE, SHORTEST_MOVE, LARGEST_CHANGE = 8, 0.3, 0.02, 0.1
"""Rounds of a fit; the longest move of a centre in one, and the one that ends it; the largest
change of a radius; in radii."""
DAMPING, LEAST_DENSITY = 1e-3, 1e-4
"""Share of its diagonal added to the normal matrix, lest shadows over one another make it singular;
and the least density, as one without any has no slope to come back by."""
TINY = 1e-9
"""Keeps matrices regular, and a shadow's very middle from being divided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShadowShape:
    """What all shadows of a frame are like.

    Parameters
    ----------
    profile : Profile
        Of the usual shadow.
    radius : float
        Its radius at half depth [cells].
    """

    profile: Profile
    radius: float

    def light(self, pile: PatchPile, shadows: Shadows) -> NDArray[np.float64]:
        """Return the density of shadows, (p, n, 4), together, (p, k)."""
        return _together(self.each(pile, shadows), shadows)

    def each(self, pile: PatchPile, shadows: Shadows) -> NDArray[np.float64]:
        """Return how deep each shadow is over its middle, (p, n, k)."""
        away = np.sqrt(_away2(pile, shadows))
        return self.profile.at(away / shadows[:, :, RADIUS, None])

    def moved(
        self, patches: Sequence[Patch], shadows: Sequence[Shadows]
    ) -> list[tuple[Shadows, NDArray[np.float64]]]:
        """Move the shadows on patches, (n, 4) each, towards the least sum of squares.

        Returns
        -------
        list of ((n, 4) float64, (k,) float64)
            The shadows on each, and the density left of its cells.
        """
        # Where there are no shadows, all is left.
        found = [(own, patch.value) for own, patch in zip(shadows, patches, strict=True)]
        for some, pile, before in piles(patches, shadows):
            after = _Moving(self, pile, before).settled()
            left = pile.value - self.light(pile, after)
            for number, own, rest in zip(some, after, left, strict=True):
                found[number] = own, rest[: len(patches[number].value)]
        return found


def piles(
    patches: Sequence[Patch], shadows: Sequence[Shadows]
) -> Iterator[tuple[list[int], PatchPile, Shadows]]:
    """Pile up patches of like size with as many shadows, so many as the cache can hold.

    Patches without shadows are left out.

    Yields
    ------
    members : list of int
        Which of the patches.
    pile : PatchPile
    shadows : (p, n, 4) float64
    """
    n_shadows = np.array([len(own) for own in shadows], np.intp)
    n_cells = np.array([len(patch.value) for patch in patches], np.intp)
    order = np.lexsort((-n_cells, n_shadows))
    order = order[n_shadows[order] > 0]
    while len(order):
        n_numbers = N_NUMBERS * int(n_shadows[order[0]] * n_cells[order[0]])
        some = order[: max(1, STACK_CELLS // n_numbers)]
        some = some[n_shadows[some] == n_shadows[order[0]]]
        order = order[len(some) :]
        members = some.tolist()
        pile = PatchPile.of([patches[member] for member in members])
        yield members, pile, np.stack([shadows[member] for member in members])


class _Moving:
    """Shadows on a pile of patches, as many on each, on their way to the best places."""

    def __init__(self, shape: ShadowShape, pile: PatchPile, shadows: Shadows) -> None:
        usual, unbounded = shape.radius, np.inf
        self._shape = shape
        self._shadows = shadows
        reach = (REACH_RADII + LONGEST_MOVE) * usual
        self._near = pile.only(_away2(pile, shadows).min(axis=1) < reach * reach)
        self._longest = np.array([LONGEST_MOVE, LONGEST_MOVE, unbounded, LARGEST_CHANGE]) * usual
        self._least = np.array([-unbounded, -unbounded, LEAST_DENSITY, NARROWEST * usual])
        self._most = np.array([unbounded, unbounded, unbounded, WIDEST * usual])

    def settled(self) -> Shadows:
        """Return the shadows, (p, n, 4), those of a patch when they hardly move any more."""
        shadows, near = self._shadows.copy(), self._near
        going = np.arange(len(shadows))
        for _ in range(N_ROUNDS):
            step = self._step(near, shadows[going])
            shadows[going] = np.clip(shadows[going] + step, self._least, self._most)
            farthest = np.abs(step[:, :, :DENSITY]).max(axis=(1, 2))
            goes_on = farthest >= SHORTEST_MOVE * self._shape.radius
            going, near = going[goes_on], near[goes_on]
            if not len(going):
                break
        return shadows

    def _step(self, near: PatchPile, shadows: Shadows) -> Shadows:
        """Return a damped step of Gauss and Newton, each radius held near the usual one."""
        usual = self._shape.radius
        left, derivative = self._explained(near, shadows)
        normal = derivative @ derivative.transpose(0, 2, 1)
        pull = derivative @ left[:, :, None]
        mean = (left * left).sum(axis=1) / np.maximum(near.n_cells, 1)
        stiffness = np.maximum(mean, TINY)[:, None] / (RADIUS_SPREAD * usual) ** 2
        pull[:, RADIUS::N_NUMBERS, 0] += stiffness * (usual - shadows[:, :, RADIUS])
        diagonal = np.einsum("pii->pi", normal)
        diagonal += diagonal * DAMPING + TINY
        diagonal[:, RADIUS::N_NUMBERS] += stiffness
        step = np.linalg.solve(normal, pull).reshape(shadows.shape)
        bounded: Shadows = np.clip(step, -self._longest, self._longest)
        return bounded

    def _explained(
        self, near: PatchPile, shadows: Shadows
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return what is left of the cells, (p, k), and how each number tells, (p, 4 n, k)."""
        row, col, density, radius = shadows.transpose(2, 0, 1)[..., None]
        down, right = near.row[:, None] - row, near.col[:, None] - col
        away = np.sqrt(down * down + right * right) + TINY
        radii = away / radius
        value, slope = self._shape.profile.with_slope(radii)
        # A profile is level at its very end only: empty places, far beyond, would feel its slope.
        fall = slope * (-density / radius) * near.is_cell[:, None]
        along = fall / away
        derivative = np.empty((len(value), value.shape[1], N_NUMBERS, value.shape[2]))
        np.multiply(along, down, out=derivative[:, :, ROW])
        np.multiply(along, right, out=derivative[:, :, COL])
        derivative[:, :, DENSITY] = value
        np.multiply(fall, radii, out=derivative[:, :, RADIUS])
        flat = derivative.reshape(len(value), -1, value.shape[2])
        return near.value - _together(value, shadows), flat


def _away2(pile: PatchPile, shadows: Shadows) -> NDArray[np.float64]:
    """Return the squared distance of each cell from each shadow, (p, n, k)."""
    down = pile.row[:, None] - shadows[:, :, ROW, None]
    right = pile.col[:, None] - shadows[:, :, COL, None]
    away2: NDArray[np.float64] = down * down + right * right
    return away2


def _together(each: NDArray[np.float64], shadows: Shadows) -> NDArray[np.float64]:
    """Add up shadows of which is known how deep each is over its middle, (p, k)."""
    total: NDArray[np.float64] = (shadows[:, None, :, DENSITY] @ each)[:, 0]
    return total
