"""What the marks that stand alone in a frame have in common: the usual shadow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.boxes import widened
from motemap.detect.clump_sites import clump_sites
from motemap.detect.moving import ShadowShape
from motemap.detect.profile import REACH_RADII, Profile, Sample, density_of
from motemap.detect.pursuit import Task, explain
from motemap.distances import inner_radius

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.clumps import Clump, Clumps
    from motemap.records import FlatFrame

HALF = 0.5
ROUND_AREAS = (0.75, 1.6)
"""Area of a round mark over that of the largest disc inside it."""
TELLING_CLUMPS, MOST_SEEN, MOST_ALIKE = 6, 100, 15
"""Marks standing alone that it takes to tell the usual one, and so many are looked at at most,
and in detail."""
ALIKE_OF_RADIUS = 0.15
"""Marks within this share of the usual radius tell the usual shadow."""
MIN_RADIUS_CELLS = 1.2
"""Narrower shadows have no shape on these cells."""
FLAT_AREAS, FLAT_CELLS = 1.7, 3.0
"""A shadow is flat whose low area is below so many times that at half depth, and whose radius
leaves room for a flat middle."""
NOISE_OF_USUAL = 1.5
"""Noise is taken for no more than so many times the usual: a clump raises what is measured."""
FLAWS = (0.02, 0.1)
"""Bounds of what the usual shape leaves of a mark's depth."""
CLEAR_OF_NOISE = 4.0
"""Marks of so many times the noise tell that; the fainter ones tell how much noise is left."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Usual:
    """The usual shadow of a frame, and how much it leaves of marks standing alone.

    Parameters
    ----------
    shape : ShadowShape
        Its profile, and its radius.
    low_area : float
        Cells of a mark as deep as `LOW_OF_PEAK` of its peak.
    noise_frac : float
        Usual noise of a cell, as the frame has it.
    noise_share : float
        What is left of a faint mark over that.
    flaw_share : float
        What is left of a deep one over its own depth.
    """

    shape: ShadowShape
    low_area: float
    noise_frac: float = 0.0
    noise_share: float = 1.0
    flaw_share: float = 0.0

    @classmethod
    def learned(cls, flat: FlatFrame, clumps: Clumps, lone: NDArray[np.intp]) -> Usual | None:
        """Learn from clear marks standing alone, given by number; None when they are too few."""
        seen = lone[:: math.ceil(len(lone) / MOST_SEEN)] if len(lone) else lone
        radius_of = {number: lone_radius(clumps[number]) for number in seen.tolist()}
        round_ones = {number: radius for number, radius in radius_of.items() if radius is not None}
        if len(round_ones) < TELLING_CLUMPS:
            return None
        usual = float(np.median(list(round_ones.values())))
        alike = [
            number
            for number, radius in round_ones.items()
            if abs(radius - usual) < ALIKE_OF_RADIUS * usual
        ][:MOST_ALIKE]
        if usual < MIN_RADIUS_CELLS or not alike:
            return None
        samples = [_sample(flat, clumps[number], round_ones[number]) for number in alike]
        learned = cls(
            shape=ShadowShape(profile=Profile.learned(samples), radius=usual),
            low_area=float(np.median(clumps.low_areas()[alike])),
        )
        return learned._held_against(flat, clumps, np.array(alike))

    @property
    def radius(self) -> float:
        """Its radius at half depth [cells]."""
        return self.shape.radius

    @property
    def is_flat(self) -> bool:
        """Whether the usual shadow has a flat middle and clear rims."""
        areas = self.low_area / (math.pi * self.radius**2)
        return areas < FLAT_AREAS and self.radius > FLAT_CELLS

    def left_frac(self, noise_frac: float, held_frac: float) -> float:
        """Return the root mean square that it leaves of marks with so much noise and density."""
        noise_frac = min(noise_frac, NOISE_OF_USUAL * self.noise_frac)
        return math.hypot(self.noise_share * noise_frac, self.flaw_share * held_frac)

    def _held_against(self, flat: FlatFrame, clumps: Clumps, lone: NDArray[np.intp]) -> Usual:
        """See how much this shape leaves of single marks."""
        share = np.ones(len(clumps.depth), np.intp)
        sites = clump_sites(flat, clumps, lone, share)
        tasks = [Task(ground=site.ground, starts=site.summits, n_most=1) for site in sites]
        fits = explain(self.shape, tasks)
        left = np.array([fit.left_frac for fit in fits])
        held = np.array([fit.held_frac for fit in fits])
        noise = clumps.noise_frac[lone]
        faint = held <= np.median(held)
        noise_share = float(np.median(left[faint] / noise[faint]))
        noise *= noise_share
        deep = held > CLEAR_OF_NOISE * noise
        flaws = np.sqrt(np.maximum(left[deep] ** 2 - noise[deep] ** 2, 0.0)) / held[deep]
        flaw = float(np.median(flaws)) if flaws.size else HALF * sum(FLAWS)
        return replace(
            self,
            noise_frac=float(np.median(noise)) / noise_share,
            noise_share=noise_share,
            flaw_share=min(max(flaw, FLAWS[0]), FLAWS[1]),
        )


def lone_radius(clump: Clump) -> float | None:
    """Return the radius at half depth of a round mark [cells]; None for any other shape."""
    core = clump.inside & (clump.depth > HALF * clump.depth[clump.inside].max())
    area = float(core.sum())
    if not area:  # darker than its surround but nowhere darker than the background
        return None
    thickness = inner_radius(core)
    if not ROUND_AREAS[0] < area / (math.pi * thickness**2) < ROUND_AREAS[1]:
        return None
    return math.sqrt(area / math.pi)


def _sample(flat: FlatFrame, clump: Clump, radius: float) -> Sample:
    """Cut out a mark standing alone as far as a profile reaches, centred by its core's depth."""
    crop, inner = widened(clump.box, math.ceil((REACH_RADII - 1) * radius), flat.contrast.shape)
    density = density_of(flat.contrast[crop])
    core = clump.inside & (clump.depth > HALF * clump.depth[clump.inside].max())
    weight = np.zeros(density.shape)
    weight[inner] = np.where(core, clump.depth, 0.0)
    weight /= weight.sum()
    rows, cols = np.indices(density.shape)
    row, col = float((weight * rows).sum()), float((weight * cols).sum())
    return Sample(density=density, row=row, col=col, radius=radius)
