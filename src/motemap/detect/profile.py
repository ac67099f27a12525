"""The shadow that a small speck casts in this frame, learned from the marks that stand alone.

Small specks lie on one glass, so all cast shadows of one shape; only their depth differs much,
and their width a little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import smooth

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

REACH_RADII = 2.6
"""A profile reaches so many radii at half depth: the bright fringe round a shadow belongs to it."""
STEP = 0.05
N_STEPS = round(REACH_RADII / STEP)
"""A profile is a list of means, one for each step of so many radii."""
MIDDLE_RADII, CORE_RADII = 0.3, 0.5
"""A shadow is deepest within the first, and its depth told by the second."""
LARGEST_DENSITY = 4.0
"""Beyond so much nothing is told from black: the noise of what is left is greater."""
TINY = 1e-9
"""Keeps what may be 0 from being divided by, and places below the last node."""


def density_of(contrast: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return the optical density, to base e, that gives a contrast; light gathered is negative."""
    least = np.exp(-LARGEST_DENSITY)
    density: NDArray[np.float64] = -np.log(np.maximum(1.0 + contrast.astype(np.float64), least))
    return density


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sample:
    """A mark standing alone.

    Parameters
    ----------
    density : (h, w) float64
        Optical density at it and round it.
    row, col, radius : float
        Its centre in there and its radius at half depth [cells].
    """

    density: NDArray[np.float64]
    row: float
    col: float
    radius: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """Depth of the usual shadow against the distance from its centre; its middle averages 1.

    Parameters
    ----------
    value, slope : (n,) float64
        The depth and its derivative by radii, at the middles of steps of `STEP` radii.
    """

    value: NDArray[np.float64]
    slope: NDArray[np.float64]

    @classmethod
    def learned(cls, samples: Sequence[Sample]) -> Profile:
        """Average the profiles of marks, each scaled to its own radius and depth.

        How deep a mark is follows from the average of all, so that is taken twice.
        """
        aways, values = [], []
        for sample in samples:
            rows, cols = np.indices(sample.density.shape)
            away = np.hypot(rows - sample.row, cols - sample.col) / sample.radius
            near = away < REACH_RADII - STEP
            # A small mark may have but one cell this near its middle, and always has one.
            core = away < max(CORE_RADII, float(away.min()) + TINY)
            aways.append(away[near])
            values.append(sample.density[near] / max(float(np.median(sample.density[core])), TINY))
        first = cls._averaged(aways, values)
        shapes = [first.at(away) for away in aways]
        depths = [
            float(value @ shape) / float(shape @ shape)
            for value, shape in zip(values, shapes, strict=True)
        ]
        scaled = [value / max(depth, TINY) for value, depth in zip(values, depths, strict=True)]
        return cls._averaged(aways, scaled)

    @classmethod
    def _averaged(
        cls, aways: Sequence[NDArray[np.float64]], values: Sequence[NDArray[np.float64]]
    ) -> Profile:
        """Average depths, (k,) a mark, by their distances in radii; smoothed, and 0 at the end."""
        step = (np.concatenate(aways) / STEP).astype(np.intp)
        total = np.bincount(step, np.concatenate(values), N_STEPS)
        count = np.bincount(step, minlength=N_STEPS)
        nodes = (np.arange(N_STEPS) + 0.5) * STEP
        known = count > 0
        value = np.interp(nodes, nodes[known], total[known] / count[known])
        value = smooth(value.astype(np.float32), 1.0).astype(np.float64)
        value[-2:] = 0.0
        value /= value[nodes < MIDDLE_RADII].mean()
        return cls(value=value, slope=np.gradient(value, STEP))

    def at(self, radii: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the depth at some distances in radii."""
        return _between(self.value, *_place(radii))

    def with_slope(
        self, radii: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the depth at some distances in radii, and its derivative."""
        node, share = _place(radii)
        return _between(self.value, node, share), _between(self.slope, node, share)


def _place(radii: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Return the nodes of a profile that distances lie beyond, and how far on to the next."""
    # In place, here and below: this is most of the work of moving shadows.
    place = radii * (1 / STEP)
    place -= 0.5
    np.clip(place, 0.0, N_STEPS - 1 - TINY, out=place)
    node = place.astype(np.intp)
    place -= node
    return node, place


def _between(
    nodes: NDArray[np.float64], node: NDArray[np.intp], share: NDArray[np.float64]
) -> NDArray[np.float64]:
    value: NDArray[np.float64] = np.diff(nodes).take(node, mode="clip")
    value *= share
    value += nodes.take(node, mode="clip")
    return value
