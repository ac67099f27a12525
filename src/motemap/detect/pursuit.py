"""Explain clumps as shadows of the usual shape that lie over one another.

Light that passes two shadows is lost twice, so their optical densities add. Shadows are put in one
by one where most is left to explain, and each time all are moved until the sum of squares is
least (matching pursuit: S. Mallat, Z. Zhang, IEEE Trans. Signal Proc. 41, 1993; moving all that
were found so far: Q. Denoyelle and others, Inverse Problems 36, 2020; both from memory).

All clumps of a frame are explained in step, each by itself: what one needs is not asked of others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.grounds import Maps, PatchPile
from motemap.detect.moving import COL, DENSITY, LEAST_DENSITY, ROW, TINY, piles
from motemap.filters import correlated

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.detect.grounds import Ground, Patch
    from motemap.detect.moving import Shadows, ShadowShape

TEMPLATE_RADII, SEEN_SHARE = 1.6, 0.3
"""How far a shadow is compared, in radii, and what share of one has to be seen to count in full."""
FAINTEST_OF_DEEPEST = 0.12
"""A shadow fainter than this share of the deepest may be a flaw in the shape of that one."""
TRIED_OF_DEEPEST = 0.04
"""Still fainter ones are not even tried; those tried may grow when the others make room."""
CLEAR_GAIN = 30.0
"""A shadow counts when without it the sum of squares rose by so many times what is left a cell."""
NEAR_RADII = 4.0
"""Shadows so near to one that came or went are moved with it: farther off they hardly overlap."""
NEAREST_RADII = 1.1
"""No two centres are nearer: 0.55 of a width."""
N_TURNS = 3
"""How often shadows are put in and left out by turns."""
MANY = 64
"""Clumps of like size that are searched at once."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """A clump to be explained.

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

    ground: Ground
    starts: Sequence[tuple[float, float]]
    n_most: int
    enough_frac: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClumpFit:
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


def explain(shape: ShadowShape, tasks: Sequence[Task]) -> list[ClumpFit]:
    """Find the shadows that clumps are made of.

    Parameters
    ----------
    shape : ShadowShape
        What each shadow is like.
    tasks : sequence of Task

    Returns
    -------
    list of ClumpFit
        One a task.
    """
    if not tasks:
        return []
    pursuit = _Pursuit(shape, tasks)
    pursuit.run()
    return [
        ClumpFit(shadows=shadows, left_frac=_rms(left), held_frac=_rms(patch.value))
        for shadows, left, patch in zip(pursuit.shadows, pursuit.left, pursuit.patches, strict=True)
    ]


def _rms(values: NDArray[np.float64]) -> float:
    return math.sqrt(float(values @ values) / len(values))


class _Pursuit:
    """What is known of n clumps so far: the shadows of each, and the density that they leave.

    What is done is done for several clumps at once, given by their numbers.
    """

    def __init__(self, shape: ShadowShape, tasks: Sequence[Task]) -> None:
        self._shape = shape
        self._tasks = tasks
        self.patches = [task.ground.patch() for task in tasks]
        self.shadows = [_first_shadows(task, shape.radius) for task in tasks]
        self.left = [patch.value for patch in self.patches]
        side = np.arange(-(reach := math.ceil(TEMPLATE_RADII * shape.radius)), reach + 1)
        away = np.hypot(side[:, None], side[None, :]) / shape.radius
        self._template = shape.profile.at(away)

    def run(self) -> None:
        """Put in what is missing and leave out what is needless, by turns.

        Where all but one turned out needless, another turn would put in the same again.
        """
        everyone = list(range(len(self._tasks)))
        self._move(everyone)
        going = [
            number
            for number in self._wanting(everyone)
            if _rms(self.left[number]) > self._tasks[number].enough_frac
        ]
        for _ in range(N_TURNS):
            self._add(going)
            n_added = {number: len(self.shadows[number]) for number in going}
            self._leave_out(going)
            going = [
                number for number in going if len(self.shadows[number]) not in (1, n_added[number])
            ]

    def _wanting(self, numbers: Iterable[int]) -> list[int]:
        """Return which clumps may hold another shadow."""
        return [
            number for number in numbers if len(self.shadows[number]) < self._tasks[number].n_most
        ]

    def _several(self, numbers: Iterable[int]) -> list[int]:
        """Return which clumps have more than one shadow."""
        return [number for number in numbers if len(self.shadows[number]) > 1]

    def _move(self, numbers: Sequence[int]) -> None:
        """Move all shadows of clumps."""
        moved = self._shape.moved(
            [self.patches[number] for number in numbers],
            [self.shadows[number] for number in numbers],
        )
        for number, (shadows, left) in zip(numbers, moved, strict=True):
            self.shadows[number], self.left[number] = shadows, left

    def _changed(
        self, numbers: Sequence[int], changes: Sequence[_Change]
    ) -> list[tuple[Shadows, NDArray[np.float64]]]:
        """Return clumps as they would be after a change: their shadows, and what these leave.

        Only the shadows near it are moved: what is changed there moves no others.
        """
        patches, near = [], []
        for number, change in zip(numbers, changes, strict=True):
            away = np.hypot(*(change.shadows[:, :DENSITY] - change.place).T)
            is_near = away < NEAR_RADII * self._shape.radius
            near.append(is_near)
            patches.append(self._less(self.patches[number], change.shadows[~is_near]))
        own = [change.shadows[is_near] for change, is_near in zip(changes, near, strict=True)]
        found = []
        for change, is_near, (moved, left) in zip(
            changes, near, self._shape.moved(patches, own), strict=True
        ):
            shadows = change.shadows.copy()
            shadows[is_near] = moved
            found.append((shadows, left))
        return found

    def _less(self, patch: Patch, shadows: Shadows) -> Patch:
        """Take shadows off what is to be explained."""
        if not len(shadows):
            return patch
        light = self._shape.light(PatchPile.of([patch]), shadows[None])[0]
        return replace(patch, value=patch.value - light)

    def _add(self, numbers: Sequence[int]) -> None:
        """Put in shadows one by one as long as they explain enough; move them."""
        trying = self._wanting(numbers)
        while trying:
            changes = {}
            for number, new in self._next_shadows(trying):
                shadows = self.shadows[number]
                if new[DENSITY] >= TRIED_OF_DEEPEST * shadows[:, DENSITY].max():
                    changes[number] = _Change(np.vstack([shadows, new]), new[:DENSITY])
            after = self._changed(list(changes), list(changes.values()))
            trying = [
                number
                for number, (shadows, left) in zip(changes, after, strict=True)
                if self._gained(number, shadows, left)
            ]
            trying = self._wanting(trying)
        # A single one has just been moved.
        self._move(self._several(numbers))

    def _gained(self, number: int, shadows: Shadows, left: NDArray[np.float64]) -> bool:
        """Take over shadows of a clump if they explain enough that was not explained before."""
        before, after = (float(rest @ rest) for rest in (self.left[number], left))
        if before - after < CLEAR_GAIN * after / len(left):
            return False
        self.shadows[number], self.left[number] = shadows, left
        return True

    def _next_shadows(self, numbers: Sequence[int]) -> Iterator[tuple[int, NDArray[np.float64]]]:
        """Yield the one shadow that explains most of what is left of each clump, (4,)."""
        n_cells = np.array([len(self.left[number]) for number in numbers], np.intp)
        order = np.argsort(n_cells, kind="stable")
        for first in range(0, len(order), MANY):
            some = [numbers[place] for place in order[first : first + MANY].tolist()]
            yield from zip(some, self._next_of_some(some), strict=True)

    def _next_of_some(self, numbers: Sequence[int]) -> NDArray[np.float64]:
        """Return such shadows of some clumps, (n, 4)."""
        patches = [self.patches[number] for number in numbers]
        maps = Maps.of(patches)
        square = self._template**2
        answer = correlated(maps.filled([self.left[number] for number in numbers]), self._template)
        seen = correlated(maps.is_cell.astype(np.float64), square)
        weight = np.maximum(seen, SEEN_SHARE * float(square.sum()))
        worth = np.where(maps.is_cell, answer / np.sqrt(weight), -np.inf)
        best = worth.reshape(len(numbers), -1).argmax(axis=1)
        row, col = np.unravel_index(best, worth.shape[1:])
        density = (answer / weight)[np.arange(len(numbers)), row, col]
        radius = np.full(len(numbers), self._shape.radius)
        return np.stack([row, col, density, radius], axis=1)

    def _leave_out(self, numbers: Sequence[int]) -> None:
        """Leave out needless shadows one by one; the rest moves."""
        asked = self._several(numbers)
        while asked:
            changes = {}
            for number, worst in self._needless(asked).items():
                shadows = self.shadows[number]
                rest = np.delete(shadows, worst, axis=0)
                changes[number] = _Change(rest, shadows[worst, :DENSITY])
            after = self._changed(list(changes), list(changes.values()))
            for number, (shadows, left) in zip(changes, after, strict=True):
                self.shadows[number], self.left[number] = shadows, left
            asked = self._several(changes)

    def _needless(self, numbers: Sequence[int]) -> dict[int, int]:
        """Return which clumps have a shadow to be left out, and which.

        One that strayed, is too near to another, too faint, or explains nothing.
        """
        needless: dict[int, int] = {}
        for some, pile, shadows in piles(
            [self.patches[number] for number in numbers],
            [self.shadows[number] for number in numbers],
        ):
            members = [numbers[member] for member in some]
            is_bad = self._strayed(members) | _are_doubtful(shadows, self._shape.radius)
            has_bad = is_bad.any(axis=1)
            faintest = np.where(is_bad, shadows[:, :, DENSITY], np.inf).argmin(axis=1)
            gains = self._gains(pile, shadows)
            left2 = np.array([_rms(self.left[member]) ** 2 for member in members])
            is_out = has_bad | (gains.min(axis=1) < CLEAR_GAIN * left2)
            worst = np.where(has_bad, faintest, gains.argmin(axis=1))
            for place in np.flatnonzero(is_out).tolist():
                needless[members[place]] = int(worst[place])
        return needless

    def _strayed(self, numbers: Sequence[int]) -> NDArray[np.bool_]:
        """Tell which shadows of clumps have left the cells to be explained, (p, n)."""
        return ~np.array(
            [
                [
                    self._tasks[number].ground.holds(row, col)
                    for row, col in self.shadows[number][:, :DENSITY].tolist()
                ]
                for number in numbers
            ]
        )

    def _gains(self, pile: PatchPile, shadows: Shadows) -> NDArray[np.float64]:
        """Return what the sum of squares rises by without each shadow, others adapting, (p, n)."""
        shapes = self._shape.each(pile, shadows)
        spread = np.einsum("pii->pi", np.linalg.pinv(shapes @ shapes.transpose(0, 2, 1)))
        gains: NDArray[np.float64] = shadows[:, :, DENSITY] ** 2 / np.maximum(spread, TINY)
        return gains


@dataclass(frozen=True, slots=True, eq=False)
class _Change:
    """Shadows to try on a clump, (n, 4), and the row and column of what is new or gone."""

    shadows: Shadows
    place: NDArray[np.float64]


def _first_shadows(task: Task, radius: float) -> Shadows:
    density = task.ground.density
    return np.array(
        [
            (row, col, max(float(density[round(row), round(col)]), LEAST_DENSITY), radius)
            for row, col in task.starts
        ],
        dtype=np.float64,
    )


def _are_doubtful(shadows: Shadows, radius: float) -> NDArray[np.bool_]:
    """Tell which are much fainter than the deepest, or too near to a deeper one, (p, n)."""
    density = shadows[:, :, DENSITY]
    steps = shadows[:, :, None] - shadows[:, None]
    is_deeper = density[:, None] > density[:, :, None]
    apart = np.where(is_deeper, np.hypot(steps[..., ROW], steps[..., COL]), np.inf)
    is_faint = density < FAINTEST_OF_DEEPEST * density.max(axis=1, keepdims=True)
    doubtful: NDArray[np.bool_] = is_faint | (apart.min(axis=2) < NEAREST_RADII * radius)
    return doubtful
