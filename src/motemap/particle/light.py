"""How much light a mark takes in all: the particle's shadow area, whatever the aperture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM, px_to_cell
from motemap.optics.depths import depth_curve
from motemap.optics.waves import Waves
from motemap.particle.match import TINY, Matcher
from motemap.particle.radial import Discs, crops_around
from motemap.particle.record import LostLight
from motemap.particle.sums import LEVEL_OF_SUM, sum_lights
from motemap.particle.view import MODEL_AREA_ERROR, FrameOptics, diameter_um
from motemap.strips import for_each

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.particle.match import Rival
    from motemap.records import FlatFrame, MeasuredSpot, Stack

    Measure = Callable[[FlatFrame, list[MeasuredSpot], Discs, FrameOptics], list[LostLight | None]]

OPACITIES = (1.0, 0.85, 0.7, 0.55, 0.4)
CLEAR_GAIN = 6.0
"""How much better, in squared sigmas, a part-transparent grain must fit to be believed."""
DEPTH_SLACK = (0.8, 1.25)
SLACK_SIGMA = 0.05
"""A shadow may be so much deeper than the model, in logarithm: an odd shape, a tone curve."""
LARGEST_MISFIT = 4.0
LARGEST_FITTED = 1.2
"""Widest particle, in blur discs, whose shape in detail does not matter."""
REACH_OF_WIDTH = 1.5
REACH_MARGIN_CELL = 3.0
BATCH = 64
"""Marks worked on at a time: their cells then stay in the processor's cache."""
TILE_CELLS = 192
"""Side of the squares in which marks are taken one after the other: a batch then has few marks
near it to look at."""
BATCHES_NEAR = 8
"""In so many batches on end marks are sorted by size: the largest of a batch says how many rings
and radii all of it are given."""
WIDE_OF_USUAL = 2.0
"""Marks so many times wider than most are worked on by themselves."""


def measure_light(
    flat: FlatFrame,
    spots: Sequence[MeasuredSpot],
    *,
    stack: Stack,
    f_number: float,
    pitch_um: float,
) -> tuple[LostLight | None, ...]:
    """Measure the light that each mark of a frame takes, as specks on the filter stack.

    Parameters
    ----------
    flat : FlatFrame
        The flattened test shot.
    spots : sequence of MeasuredSpot
        All marks of the frame; those near a mark are left out of its sums.
    stack : Stack
        Distance of the dust.
    f_number : float
        Marked f-number of the shot.
    pitch_um : float
        Distance of stored pixels [um].

    Returns
    -------
    tuple of LostLight or None
        One a spot; None where nothing can be measured.
    """
    if stack.distance_mm is None or not spots:
        return (None,) * len(spots)
    optics = FrameOptics.of(stack.distance_mm * UM_PER_MM, f_number, pitch_um, flat.bin_px)
    order = _working_order(spots, flat.bin_px)
    hidden = _neighbours(spots, order, optics, flat.bin_px)

    def measured(
        measure: Measure, order: NDArray[np.intp]
    ) -> Iterator[tuple[int, LostLight | None]]:
        def of_batch(members: NDArray[np.intp]) -> list[LostLight | None]:
            chosen = [spots[index] for index in members.tolist()]
            return measure(flat, chosen, hidden.of_marks(members), optics)

        each = chain.from_iterable(for_each(of_batch, _batches(order)))
        return zip(order.tolist(), each, strict=True)

    lights: list[LostLight | None] = [None] * len(spots)
    for index, light in measured(_fits, _alike(order, spots)):
        lights[index] = light
    # Where no fit of a speck's shadow holds, the plain sum is taken.
    odd = [index for index in order.tolist() if not _holds(lights[index], optics)]
    for index, summed in measured(sum_lights, np.array(odd, np.intp)):
        lights[index] = _with_shape(summed, spots[index], lights[index])
    return tuple(lights)


def tile_order(rows: NDArray[np.float64], cols: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the order that takes places tile by tile, so that neighbours follow each other.

    Parameters
    ----------
    rows, cols : (n,) float64
        Places in cells.
    """
    return np.lexsort((cols // TILE_CELLS, rows // TILE_CELLS))


def _working_order(spots: Sequence[MeasuredSpot], bin_px: int) -> NDArray[np.intp]:
    """Return the order in which marks are worked on: tile by tile, then the wide ones."""
    rows = np.array([px_to_cell(spot.centre.row_px, bin_px) for spot in spots])
    cols = np.array([px_to_cell(spot.centre.col_px, bin_px) for spot in spots])
    width_px = np.array([spot.width_px for spot in spots])
    order = tile_order(rows, cols)
    is_wide = width_px[order] > WIDE_OF_USUAL * np.median(width_px)
    return np.concatenate([order[~is_wide], order[is_wide]])


def _alike(order: NDArray[np.intp], spots: Sequence[MeasuredSpot]) -> NDArray[np.intp]:
    """Return marks in an order in which those of like size, not far apart, follow each other."""
    width_px = np.array([spot.width_px for spot in spots])
    return order[np.lexsort((width_px[order], np.arange(len(order)) // (BATCHES_NEAR * BATCH)))]


def _batches(order: NDArray[np.intp]) -> Iterator[NDArray[np.intp]]:
    """Yield the marks that are worked on at a time."""
    return (order[first : first + BATCH] for first in range(0, len(order), BATCH))


def _neighbours(
    spots: Sequence[MeasuredSpot], order: NDArray[np.intp], optics: FrameOptics, bin_px: int
) -> Discs:
    """Return for each mark what others hide of its surroundings: as far as they reach."""
    rows_px = np.array([spot.centre.row_px for spot in spots])
    cols_px = np.array([spot.centre.col_px for spot in spots])
    width_px = np.array([spot.width_px for spot in spots])
    reach_px = np.maximum(width_px, [spot.length_px / 2 for spot in spots])
    own_px = LEVEL_OF_SUM * (2 * width_px + optics.blur_um / optics.pitch_um)
    pairs = []
    for chosen in _batches(order):
        far_px = own_px[chosen].max() + reach_px
        around = np.flatnonzero(
            (rows_px > rows_px[chosen].min() - far_px)
            & (rows_px < rows_px[chosen].max() + far_px)
            & (cols_px > cols_px[chosen].min() - far_px)
            & (cols_px < cols_px[chosen].max() + far_px)
        )
        down_px = rows_px[chosen, None] - rows_px[around]
        right_px = cols_px[chosen, None] - cols_px[around]
        is_near = down_px**2 + right_px**2 < (own_px[chosen, None] + reach_px[around]) ** 2
        is_near &= chosen[:, None] != around
        member, near = np.nonzero(is_near)
        pairs.append((chosen[member], around[near]))
    mark, other = (np.concatenate(each) for each in zip(*pairs, strict=True))
    rising = np.argsort(mark, kind="stable")
    other = other[rising]
    return Discs(
        mark=mark[rising],
        row=px_to_cell(rows_px[other], bin_px),
        col=px_to_cell(cols_px[other], bin_px),
        radius=reach_px[other] / bin_px,
    )


def _holds(light: LostLight | None, optics: FrameOptics) -> bool:
    """Whether a fit of a speck's shadow is the best measure of a mark's light."""
    return light is not None and light.misfit <= LARGEST_MISFIT and not _is_large(light, optics)


def _is_large(light: LostLight, optics: FrameOptics) -> bool:
    size_um = diameter_um(light.area_um2 / light.opacity_frac)
    return size_um > LARGEST_FITTED * optics.blur_um


def _with_shape(
    summed: LostLight | None, spot: MeasuredSpot, fitted: LostLight | None
) -> LostLight | None:
    """Take opacity and depth over from a fit that holds, though the sum is the better measure."""
    if summed is None:
        return None
    if fitted is None:
        return replace(summed, depth_frac=spot.depth_frac)
    if fitted.misfit > LARGEST_MISFIT:
        return replace(summed, depth_frac=spot.depth_frac, misfit=fitted.misfit)
    return replace(
        summed,
        opacity_frac=fitted.opacity_frac,
        depth_frac=fitted.depth_frac,
        misfit=fitted.misfit,
    )


def _fits(
    flat: FlatFrame,
    spots: list[MeasuredSpot],
    hidden: Discs,
    optics: FrameOptics,
) -> list[LostLight | None]:
    """Fit size, opacity and local level to the rings around each mark."""
    width_cell = np.array([spot.width_px for spot in spots]) / flat.bin_px
    crops = crops_around(flat, spots, REACH_OF_WIDTH * width_cell + REACH_MARGIN_CELL, hidden)
    radius_um = optics.shadows.radius_um
    step_cell = float(radius_um[1] - radius_um[0]) / optics.cell_um
    n_points = min(int(crops.reach_cell.max() / step_cell) + 2, radius_um.size)
    matcher = Matcher.of(crops, n_points, step_cell)
    models = Waves(cross=optics.models.cross[:n_points], power=optics.models.power[:n_points])
    overlaps, unexplained = matcher.overlaps(models), matcher.unexplained
    best = _fit_sizes(overlaps.at(OPACITIES[0]), unexplained, OPACITIES[0])
    for opacity in OPACITIES[1:]:
        best = best.or_better(_fit_sizes(overlaps.at(opacity), unexplained, opacity))
    lights = best.lights(np.maximum(matcher.n_rings, 1), optics)
    return [
        light if n_cells else None for light, n_cells in zip(lights, crops.n_cells, strict=True)
    ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _SizeFits:
    """For n marks the place of the best size among those tried, its depth's factor, and so on."""

    place: NDArray[np.float64]
    factor: NDArray[np.float64]
    misfit: NDArray[np.float64]
    place_error: NDArray[np.float64]
    opacity_frac: NDArray[np.float64]

    def or_better(self, other: _SizeFits) -> _SizeFits:
        """Return the other's fit for those marks where it is clearly better."""
        is_better = other.misfit < self.misfit - CLEAR_GAIN
        return _SizeFits(
            place=np.where(is_better, other.place, self.place),
            factor=np.where(is_better, other.factor, self.factor),
            misfit=np.where(is_better, other.misfit, self.misfit),
            place_error=np.where(is_better, other.place_error, self.place_error),
            opacity_frac=np.where(is_better, other.opacity_frac, self.opacity_frac),
        )

    def lights(self, n_rings: NDArray[np.intp], optics: FrameOptics) -> list[LostLight | None]:
        """Return what these fits say of the light."""
        log_um = np.log(optics.shadows.size_um)
        places = np.arange(log_um.size)
        size_um = np.exp(np.interp(self.place, places, log_um))
        step = np.interp(self.place, places[1:], np.diff(log_um))
        curve = depth_curve(optics.tau_um, optics.f_number, optics.pitch_um)
        depth = np.minimum(self.factor * curve.depth(size_um, self.opacity_frac), 1.0)
        area_um2 = self.factor * self.opacity_frac * np.pi * size_um**2 / 4
        columns = (
            area_um2.tolist(),
            np.hypot(2 * step * self.place_error, MODEL_AREA_ERROR).tolist(),
            self.opacity_frac.tolist(),
            depth.tolist(),
            (self.misfit / n_rings).tolist(),
        )
        return [
            LostLight(
                area_um2=area, error_frac=error, opacity_frac=opacity, depth_frac=deep, misfit=m
            )
            for area, error, opacity, deep, m in zip(*columns, strict=True)
        ]


def _fit_sizes(rival: Rival, unexplained: NDArray[np.float64], opacity_frac: float) -> _SizeFits:
    prior = 1 / SLACK_SIGMA**2
    # A factor near 1 is free within its prior: the best one in closed form.
    factor = np.clip((rival.cross + prior) / (rival.power + prior), *DEPTH_SLACK)
    misfit = unexplained[:, None] - factor * (2 * rival.cross - factor * rival.power)
    misfit += prior * (factor - 1) ** 2
    marks = np.arange(unexplained.size)
    best = np.clip(misfit.argmin(axis=1), 1, misfit.shape[1] - 2)
    before, least, after = (misfit[marks, best + step] for step in (-1, 0, 1))
    bend = np.maximum(before - 2 * least + after, TINY)
    return _SizeFits(
        # Clipped before it is divided: a misfit without a bend would be divided by nothing.
        place=best + np.clip((before - after) / 2, -bend, bend) / bend,
        factor=factor[marks, best],
        misfit=misfit.min(axis=1),
        place_error=np.sqrt(2 / bend),
        opacity_frac=np.full(unexplained.size, opacity_frac),
    )
