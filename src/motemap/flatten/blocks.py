"""What compression by blocks makes of noise in a quiet field: lone waves that look like marks.

A JPEG keeps blocks of 8 x 8 pixels as sums of cosines, each rounded to whole steps. Where the
noise is smaller than half a step all of it is lost, and most blocks are even. Where it lifts one
cosine over that half, the block shows it a step high: a dark blob some pixels wide on an even
field, which by its depth alone cannot be told from a faint shadow. By the block it can: noise
lifts one cosine of a block, seldom two, while a shadow needs several to be drawn. How many may
come together by chance, in one block or in all that a mark lies in, follows from how many there
are in blocks without marks.
Source: ITU-T T.81, A.3.1 (blocks begin in the picture's upper left corner), A.3.3 (the
transform), A.3.4 (rounding).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.flatten.codes import code_edges

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Cells, FlatFrame, Plane, Regions

    Floats = NDArray[np.float64]

SIDE_PX = 8
"""Side of a block."""
LARGEST_BIN_PX = 2
"""Larger cells average waves of a block away; they are for shadows wider than blocks, too."""
LOOKED_AT = 4096
"""So many blocks tell a share of one in a hundred to a sixth of it."""
QUIET_SHARE = 0.5
"""With fewer blocks than these even, noise seldom stands out of the scatter, and what chance allows
is a faint shadow about as often (drawn frames)."""
TOLERATED = 20.0
"""So many places of a frame may hold more waves by chance than are put down to it: no more than
one in thirty of them looks like a mark (drawn frames)."""
MOST_BLOCKS = 2
"""A wave fills one block, and the step of a neighbour's mean may lengthen it by another."""
MOST_EVEN_BLOCKS = 6
"""Where the light lies halfway between two steps of a mean, a few blocks that touch may all keep the
lower one: a dark square of even blocks. So large are those that noise may have made; a choice."""
WAVE_STEPS = 0.5
"""A cosine of less than half a step is rounded to none."""
STRONG_STEPS = 1.5
"""One from here on is rounded to two steps. Noise that seldom reaches half a step is hardly ever so
strong: with half of the blocks even, a frame of 45 megapixels may show some tens of such waves,
with nine in ten even none (derived, for the table of T.81 at quality 80)."""
STANDS_OUT_CODES = 1.0
"""A mark is followed to where it is less than a code deep."""
LEAST = 1e-9
"""Keeps light that may be 0 from being divided by."""
REACH_BLOCKS = 2
"""A shadow that reaches farther than so many blocks is a large one."""
N_OFFSETS = 4
"""Places of a shadow along half a block; the other half mirrors it."""
MOST_PLACES_PERCENT = 95.0
"""Share of the places in a block at which a shadow has to be told, to count as told."""
DEPTHS_CODES = np.geomspace(0.5, 512.0, 142)
"""Depths at which shadows are drawn, 5 % apart [codes]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuietBlocks:
    """The blocks of a coded picture most of whose blocks are even.

    Parameters
    ----------
    light : (H, W) float32
        Linear light of cells, as it was loaded.
    bin_px : int
        Stored pixels along the side of a cell.
    code_light : (n,) float32
        Linear light of each code.
    step_codes : (8, 8) float64
        Steps in which each cosine is kept, by frequency down and across [codes].
    mean_waves : float
        So many waves a block without marks has in the mean.
    """

    light: NDArray[np.float32]
    bin_px: int
    code_light: NDArray[np.float32]
    step_codes: Floats
    mean_waves: float

    @property
    def shape(self) -> tuple[int, int]:
        """Blocks down and across; the border may cut the last ones."""
        n_down, n_across = (-(-side * self.bin_px // SIDE_PX) for side in self.light.shape)
        return n_down, n_across

    def of(self, cells: Cells) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return in which rows and columns of blocks cells lie."""
        per_block = SIDE_PX // self.bin_px
        return cells.row // per_block, cells.col // per_block

    def feign(self, regions: Regions) -> NDArray[np.bool_]:
        """Tell which of n marks noise and coding may have made, (n,).

        They are no larger than a block or two, and these hold no more waves than chance allows,
        each of a single step; or they are a few blocks large, and these hold none at all.
        """
        area_px2 = regions.cells.counts * self.bin_px**2
        is_small = area_px2 <= MOST_EVEN_BLOCKS * SIDE_PX**2
        is_even = area_px2[is_small] > MOST_BLOCKS * SIDE_PX**2
        cells = regions.only(is_small).cells
        n_down, n_across = self.shape
        row, col = self.of(cells)
        block = row * n_across + col
        # Each block once for each mark: one number for both sorts faster than pairs.
        mark, block = np.divmod(
            np.unique(cells.mask * (n_down * n_across) + block), n_down * n_across
        )
        blocks, of_touched = np.unique(block, return_inverse=True)
        steps = self.steps_in(*np.divmod(blocks, n_across))
        is_strong = (steps >= STRONG_STEPS).any(axis=1)
        weights = np.where(is_strong, np.inf, (steps >= WAVE_STEPS).sum(axis=1))
        n_waves = np.bincount(mark, weights=weights[of_touched], minlength=cells.n_masks)
        n_touched = np.bincount(mark, minlength=cells.n_masks)
        feigned = np.zeros(len(regions), np.bool_)
        feigned[is_small] = n_waves <= np.where(is_even, 0, self.most_by_chance(n_touched))
        return feigned

    def most_by_chance(self, n_touched: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return how many waves in so many blocks together may be noise."""
        counts, of_count = np.unique(n_touched, return_inverse=True)
        means = (self.mean_waves * counts).tolist()
        most = [most_by_chance(mean, math.prod(self.shape)) for mean in means]
        return np.array(most, np.intp)[of_count].reshape(n_touched.shape)

    def steps_in(self, row: NDArray[np.intp], col: NDArray[np.intp]) -> Floats:
        """Return how many steps the cosines of blocks in these rows and columns have, (n, k)."""
        within = np.arange(SIDE_PX // self.bin_px)
        height, width = self.light.shape
        down, across = (block[:, None] * within.size + within for block in (row, col))
        rows, cols = np.minimum(down, height - 1), np.minimum(across, width - 1)
        light = self.light[rows[:, :, None], cols[:, None, :]]
        codes = np.interp(light, self.code_light, np.arange(len(self.code_light)))
        _level(codes, across < width)
        _level(codes.swapaxes(1, 2), down < height)
        return self._steps(cosines(codes) * self.bin_px)

    def told_codes(self, radius_px: Floats, loss_frac: Floats) -> float:
        """Return how deep a shadow must be to be told from noise nearly anywhere [codes].

        Parameters
        ----------
        radius_px, loss_frac : (n,) float64
            How much light it takes away from its centre, 1 where that is most.
        """
        drawn = _drawn_anywhere(radius_px, loss_frac)
        touched_codes = STANDS_OUT_CODES / np.maximum(drawn.max(axis=(2, 3)), LEAST)
        steps = np.maximum(self._steps(cosines(drawn)), LEAST)
        # A wave counts once it is one, and once the mark reaches its block.
        wave_codes, strong_codes = (
            np.maximum(least / steps, touched_codes[:, :, None]).reshape(len(drawn), -1)
            for least in (WAVE_STEPS, STRONG_STEPS)
        )
        n_touched = _counted(touched_codes, DEPTHS_CODES)
        wide_codes, large_codes = (
            _codes_for_blocks(n_blocks, radius_px, loss_frac)
            for n_blocks in (MOST_BLOCKS, MOST_EVEN_BLOCKS)
        )
        n_waves = _counted(wave_codes, DEPTHS_CODES)
        is_told = n_waves > self.most_by_chance(n_touched)
        is_told |= (wide_codes <= DEPTHS_CODES) & (n_waves > 0)
        is_told |= _counted(strong_codes, DEPTHS_CODES) > 0
        # Told from here on: a block more that the mark reaches into may hide it once again.
        first_told = len(DEPTHS_CODES) - np.argmin(is_told[:, ::-1], axis=1)
        told_codes = DEPTHS_CODES[np.minimum(first_told, len(DEPTHS_CODES) - 1)]
        return min(float(np.percentile(told_codes, MOST_PLACES_PERCENT)), large_codes)

    def _steps(self, blocks: Floats) -> Floats:
        """Return the sizes of cosines in steps, (..., k), given them as (..., n, n) and more.

        The mean of a block is no wave. The fastest waves, which cells of several pixels show as slower
        ones, are taken for these.
        """
        per_block = SIDE_PX // self.bin_px
        kept = blocks[..., :per_block, :per_block] / self.step_codes[:per_block, :per_block]
        return np.abs(kept).reshape(*blocks.shape[:-2], per_block**2)[..., 1:]


def quiet_blocks(plane: Plane, flat: FlatFrame, found: Regions) -> QuietBlocks | None:
    """Return the blocks of a picture in which single waves may look like marks.

    Parameters
    ----------
    plane : Plane
    flat : FlatFrame
        The same, flattened.
    found : Regions
        What stands out of it, whose waves may not be noise.

    Returns
    -------
    None
        When it was not kept in blocks, or is no single picture, or when its noise fills them.
    """
    if plane.block_step_codes is None or plane.code_step is None or flat.step_frac is None:
        return None
    if plane.bin_px > LARGEST_BIN_PX:
        return None
    edges = code_edges(plane.code_step)
    blocks = QuietBlocks(
        light=plane.light,
        bin_px=plane.bin_px,
        code_light=((edges[1:] + edges[:-1]) / 2).astype(np.float32),
        step_codes=plane.block_step_codes.astype(np.float64),
        mean_waves=0.0,
    )
    is_free = np.ones(blocks.shape, np.bool_)
    is_free[blocks.of(found.cells)] = False
    apart = max(1, math.isqrt(is_free.size // LOOKED_AT))
    row, col = np.nonzero(is_free[::apart, ::apart])
    n_waves = (blocks.steps_in(row * apart, col * apart) >= WAVE_STEPS).sum(axis=1)
    n_even = np.count_nonzero(n_waves == 0)
    if n_even == 0 or n_even < QUIET_SHARE * len(n_waves):
        return None
    return replace(blocks, mean_waves=mean_waves(n_waves))


def mean_waves(n_waves: NDArray[np.intp]) -> float:
    """Return how many waves blocks have in the mean, some of which are even, given those of n.

    Where waves come by themselves, the share of even blocks tells it best: what is left of marks
    has many waves in a few blocks. Where noise comes in bands, as where a smooth field lies halfway
    between two codes, more blocks are even than so many waves would leave.
    """
    return max(-math.log(np.mean(n_waves == 0)), float(np.mean(n_waves)))


def most_by_chance(mean: float, n_places: int) -> int:
    """Return the fewest waves that hardly a place of a frame exceeds by chance, at least 1.

    Parameters
    ----------
    mean : float
        Waves of a place in the mean. Their number follows Poisson's law.
    n_places : int
        Places in the frame. There are about as many of several blocks as there are blocks.
    """
    n_waves, term = 1, math.exp(-mean) * mean
    beyond = 1.0 - math.exp(-mean) - term
    while beyond * n_places > TOLERATED:
        n_waves += 1
        term *= mean / n_waves
        beyond -= term
    return n_waves


def cosines(blocks: Floats) -> Floats:
    """Return the cosine transform of square blocks, (..., n, n), by frequency down and across."""
    n_cells = blocks.shape[-1]
    at = np.arange(n_cells)
    basis = math.sqrt(2 / n_cells) * np.cos((2 * at + 1) * at[:, None] * (np.pi / (2 * n_cells)))
    basis[0] /= math.sqrt(2)
    transformed: Floats = basis @ blocks @ basis.T
    return transformed


def _codes_for_blocks(n_blocks: int, radius_px: Floats, loss_frac: Floats) -> float:
    """Return how deep a shadow must be to stand out over as much as so many blocks [codes]."""
    reach_px = math.sqrt(n_blocks * SIDE_PX**2 / math.pi)
    return STANDS_OUT_CODES / max(float(np.interp(reach_px, radius_px, loss_frac)), LEAST)


def _level(blocks: Floats, is_inside: NDArray[np.bool_]) -> None:
    """Make even, from column to column, blocks (n, h, w) of which the border cuts some, (n, w).

    Their waves in this direction cannot be told from what is left of them.
    """
    cut = np.flatnonzero(~is_inside.all(axis=1))
    inside = is_inside[cut].astype(np.float64)
    means = (blocks[cut] @ inside[:, :, None]) / inside.sum(axis=1)[:, None, None]
    blocks[cut] = means


def _counted(codes: Floats, upto_codes: Floats) -> NDArray[np.intp]:
    """Return how many of the n values of each of m rows are no larger than each of k, (m, k)."""
    ordered = np.sort(codes, axis=1)
    return np.stack([np.searchsorted(row, upto_codes, side="right") for row in ordered])


def _drawn_anywhere(radius_px: Floats, loss_frac: Floats) -> Floats:
    """Draw a shadow at places all over a block; return its blocks, (n, k, 8, 8)."""
    n_blocks = 2 * REACH_BLOCKS + 1
    middle = (np.arange(N_OFFSETS) + 0.5) * (SIDE_PX / 2 / N_OFFSETS) + REACH_BLOCKS * SIDE_PX
    away = np.arange(n_blocks * SIDE_PX) + 0.5 - middle[:, None]
    radius = np.hypot(away[:, None, :, None], away[None, :, None, :])
    drawn = np.interp(radius, radius_px, loss_frac, right=0.0)
    drawn = drawn.reshape(N_OFFSETS**2, n_blocks, SIDE_PX, n_blocks, SIDE_PX)
    return drawn.swapaxes(2, 3).reshape(N_OFFSETS**2, n_blocks**2, SIDE_PX, SIDE_PX)
