"""What is measured of marks in their maps."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import FramePoint, cell_to_px
from motemap.distances import within
from motemap.filters import CELL_VARIANCE, FWHM_PER_SIGMA, NOISE_OF_BLUR
from motemap.measure.masked import Rising, blur, blur_reach, largest, total
from motemap.measure.outline import trace_outlines
from motemap.measure.ridges import ridge_depths
from motemap.records import MeasuredSpot
from motemap.records.columns import FIBRE_ASPECT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.measure.mark_maps import MarkMaps, Outsets
    from motemap.measure.outline import Outlines

CENTRE_OF_PEAK = 0.3
"""The middle of a mark is that of what is deeper than this share of its peak: noise round it would
pull at it."""
HALF = 0.5
UPPER_QUARTILE = 0.75
CORE_OF_WIDTH = 0.1
"""Sigma of the blur, over the width, under which the depth of the core is taken."""
LOST_MOST = 0.5
"""The most that smoothing may have taken from a depth, along one axis, to be given back: of
narrower marks more would rest on their width than on their depth."""
BELL_SHARE = 1.15
"""A faint shadow has a sharper tip than a bell, so somewhat more is lost; from drawn frames."""
FLANK_OF_BELL = 0.7
"""How soft a bell's flank is, over its width: ``sqrt(e) / FWHM_PER_SIGMA`` (derived)."""
FEWEST_IN_RING = 8
"""Fewer cells round a mark have no median to go by; the level is then that of the background, 0."""
RIM_OF_REACH, RIM_MOST_CELLS = 0.2, 3.0
"""The level round a mark is taken from so much beyond half its reach: nearer lies its bright rim,
which is no wider round wide marks."""
BRIGHT_SIGMAS = 3.0
"""Light above the surround counts as gathered from so many sigmas on."""
OUTLINE_REACH, OUTLINE_MARGIN_CELL = 1.5, 2
"""Cells that an outline may stray beyond the region: further out lies somebody else's dip."""
CLEAR_SIGMAS = 8.0
"""Depth over noise at which an outline is no longer ragged."""
SOFTEST_OF_THICKNESS, USUAL_OF_THICKNESS, LEAST_BLUR_CELL = 0.3, 0.12, 0.5
"""Sigma of the smoothing: the most, and what is usual, over the thickness of a mark; and the
least."""
FLANK = (0.3, 0.7)
"""Share of the peak between which the slope of a flank is taken."""
NO_FLANK_CELL = 1.0
"""How soft the edge of a mark counts that has no cell between those shares."""
TINY = 1e-9
"""Keeps what may be 0 from being divided by."""
LEAST_CORE = 1e-6
"""A mark with no depth at all is smoothed as one of this depth."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sight:
    """Marks as they are looked at: freed of the level around each, and smoothed.

    Parameters
    ----------
    near : (n, h, w) bool
        Cells of each mark and free ones within reach.
    depth, soft : (n, h, w) float32
        Share of light lost, as it is and smoothed.
    calm_frac, sigma_cell, peak, ridge : (n,) float32
        Scatter of the surround; the blur of `soft`; the largest of `soft` in the mark, and along
        most of it.
    outlines : Outlines
        At half the ridge.
    has_neighbour : (n,) bool
        Whether another mark lies within reach.
    """

    maps: MarkMaps
    near: NDArray[np.bool_]
    depth: NDArray[np.float32]
    soft: NDArray[np.float32]
    calm_frac: NDArray[np.float32]
    sigma_cell: NDArray[np.float32]
    peak: NDArray[np.float32]
    ridge: NDArray[np.float32]
    outlines: Outlines
    has_neighbour: NDArray[np.bool_]

    @classmethod
    def of(cls, maps: MarkMaps) -> _Sight:
        """Free the marks of some maps of the level round each, and smooth them."""
        own = maps.mine | maps.free
        close, inside, around = _surroundings(maps)
        level, calm_frac = _ring_levels(maps, ~inside)
        depth = level[:, None, None] - maps.contrast
        sigma_cell = _smoothing(depth, maps)
        soft = blur(depth, sigma_cell, maps.in_rows, maps.in_cols)
        region, inner = maps.inner(0), maps.inner(OUTLINE_MARGIN_CELL)
        peak = largest(soft[region], maps.mine[region])
        ridge = ridge_depths(soft[region], maps.mine[region], maps.thickness_cell)
        outlines = trace_outlines(
            soft[inner], (own & close)[inner], np.float32(HALF) * ridge, maps.in_frame[inner]
        )
        return cls(
            maps=maps,
            near=own & around,
            depth=depth,
            soft=soft,
            calm_frac=calm_frac,
            sigma_cell=sigma_cell,
            peak=peak,
            ridge=ridge,
            outlines=outlines,
            has_neighbour=np.asarray((maps.foreign & around).any(axis=(1, 2))),
        )


def measure_maps(maps: MarkMaps, bin_px: int, shape: tuple[int, ...]) -> list[MeasuredSpot]:
    """Measure all marks of some maps, cut from a plane of some shape.

    Returns
    -------
    list of MeasuredSpot
        One a mark, in the order of the maps.
    """
    sight = _Sight.of(maps)
    width, length = _sharp_sides(sight.outlines, sight.sigma_cell)
    rows, cols = _centres(sight)
    edge = _edges(sight)
    top, left = maps.corners.astype(np.float64).T
    significances = maps.outsets.regions.snr
    places = zip(
        cell_to_px(top + rows, bin_px).tolist(),
        cell_to_px(left + cols, bin_px).tolist(),
        strict=True,
    )
    columns = {
        "depth_frac": np.minimum(_core_depths(sight, width, length, edge), 1.0),
        "snr": np.maximum(significances, _matched_snr(sight)),
        "width_px": width * bin_px,
        "length_px": length * bin_px,
        "lost_area_px2": total(sight.depth, sight.near) * bin_px**2,
        "gain_ratio": _gain_ratios(sight),
        "hollow_frac": _hollows(sight, rows, cols),
        "hole_frac": sight.outlines.hole_frac,
        "hoop_frac": sight.outlines.hoop_frac,
        "edge_px": edge * bin_px,
        "blur_sigma_px": np.sqrt(sight.sigma_cell**2 + CELL_VARIANCE) * bin_px,
        "seen_depth_frac": sight.peak,
        "calm_frac": sight.calm_frac,
        "significance": significances,
        "is_at_border": _touch_border(maps.outsets, shape),
        "has_neighbour": sight.has_neighbour,
    }
    marks = zip(*(values.tolist() for values in columns.values()), strict=True)
    return [
        MeasuredSpot(
            centre=FramePoint(row_px=row_px, col_px=col_px),
            **dict(zip(columns, values, strict=True)),
        )
        for (row_px, col_px), values in zip(places, marks, strict=True)
    ]


def _surroundings(
    maps: MarkMaps,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the cells where an outline may run, those within the ring, and all within reach."""
    found = tuple(np.zeros(maps.mine.shape, np.bool_) for _ in range(3))
    for reach in np.unique(maps.outsets.reach_cell).tolist():
        alike = np.flatnonzero(maps.outsets.reach_cell == reach)
        ring = reach / 2 + min(RIM_OF_REACH * reach, RIM_MOST_CELLS)
        near = within(maps.mine[alike], (OUTLINE_REACH, ring, reach))
        for whole, part in zip(found, near, strict=True):
            whole[alike] = part
    close, inside, around = found
    return close, inside, around


def _ring_levels(
    maps: MarkMaps, is_far: NDArray[np.bool_]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the median round each mark, and the upper quartile of the deviation from it."""
    ring = Rising.of(maps.contrast, maps.free & is_far)
    is_told = ring.n_values >= FEWEST_IN_RING
    level = np.where(is_told, ring.quantile(HALF), np.float32(0))
    calm = np.where(is_told, ring.strays(level).quantile(UPPER_QUARTILE), np.float32(0))
    return level, calm


def _smoothing(depth: NDArray[np.float32], maps: MarkMaps) -> NDArray[np.float32]:
    """Choose the blur under which a mark is looked at: a little, or as much as its noise asks."""
    inner = maps.inner(0)
    depths = Rising.of(depth[inner], maps.mine[inner])
    core = np.maximum(depths.quantile(UPPER_QUARTILE), LEAST_CORE)
    thickness = maps.thickness_cell
    asked = CLEAR_SIGMAS * maps.noise_frac / (NOISE_OF_BLUR * core)
    wanted = np.maximum(USUAL_OF_THICKNESS * thickness, asked)
    chosen = np.maximum(LEAST_BLUR_CELL, np.minimum(wanted, SOFTEST_OF_THICKNESS * thickness))
    return np.asarray(chosen, dtype=np.float32)


def _centres(sight: _Sight) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return row and column of the middle of each mark's deeper part; of all without depth."""
    region = sight.maps.inner(0)
    mine = sight.maps.mine[region]
    floor = (CENTRE_OF_PEAK * sight.peak)[:, None, None]
    weight = np.maximum(sight.soft[region] - floor, 0) * mine
    flat = sight.peak <= 0
    weight[flat] = mine[flat]
    down, across = weight.sum(axis=2), weight.sum(axis=1)
    whole = down.sum(axis=1)
    rows, cols = (np.arange(part.start, part.stop, dtype=np.float32) for part in region[1:])
    # Not by a matrix product: for lines as short as these BLAS looks at what lies beyond them, and
    # numpy may warn of what it finds there.
    return (down * rows).sum(axis=1) / whole, (across * cols).sum(axis=1) / whole


def _sharp_sides(
    outlines: Outlines, sigma: NDArray[np.float32]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Take the smoothing, and a cell's own width, back out of width and length [cells]."""
    seen = outlines.width_cell
    blur2 = FWHM_PER_SIGMA**2 * (sigma.astype(np.float64) ** 2 + CELL_VARIANCE)
    width = np.sqrt(np.maximum(seen**2 - blur2, (HALF * seen) ** 2))
    return width, np.maximum(width, outlines.length_cell - (seen - width))


def _core_depths(
    sight: _Sight,
    width: NDArray[np.float64],
    length: NDArray[np.float64],
    edge: NDArray[np.float32],
) -> NDArray[np.float64]:
    """Return the depth of each core, given back what smoothing and cells took from it.

    A faint shadow is bell-shaped, a deep one has a flat top of which little is taken. Across
    and along count by themselves: along a fibre nothing is lost. Across it is flatter than a bell
    however faint, as it fills the chords of the blur disc; its flank, freed of the smoothing, tells
    by how much (wave optics: in proportion, within a fifth).
    """
    core_sigma = (CORE_OF_WIDTH * width).astype(np.float32)
    maps = sight.maps
    near = maps.inner(blur_reach(core_sigma))
    soft = blur(sight.soft[near], core_sigma, maps.in_rows[:, near[1]], maps.in_cols[:, near[2]])
    core = largest(soft, maps.mine[near])
    blur2 = sight.sigma_cell**2 + core_sigma**2 + CELL_VARIANCE
    across, along = (
        1 + np.minimum(blur2 * (FWHM_PER_SIGMA / side) ** 2, LOST_MOST) for side in (width, length)
    )
    share = BELL_SHARE * (1 - np.clip(core, 0, 1) ** 2)
    sharp = np.sqrt(np.maximum(edge**2 - math.e * (sight.sigma_cell**2 + CELL_VARIANCE), 0))
    of_flank = np.minimum(sharp / (FLANK_OF_BELL * width), share)
    share = np.where(length >= FIBRE_ASPECT * width, of_flank, share)
    given: NDArray[np.float64] = core * (across * along) ** (share / 2)
    return given


def _matched_snr(sight: _Sight) -> NDArray[np.float32]:
    """Return each mark's signal to noise as a matched filter has it."""
    region, noise = sight.maps.inner(0), sight.maps.noise_frac
    mine = sight.maps.mine[region]
    power = total(sight.depth[region] ** 2, mine) - np.count_nonzero(mine, axis=(1, 2)) * noise**2
    return np.asarray(np.sqrt(np.maximum(power, 0)) / np.maximum(noise, np.float32(TINY)))


def _gain_ratios(sight: _Sight) -> NDArray[np.float32]:
    """Return the light a mark gathers over the light it takes, noise left out of the first."""
    noise = sight.maps.noise_frac / np.maximum(1.0, NOISE_OF_BLUR * sight.sigma_cell)
    above = np.maximum(-sight.soft - (BRIGHT_SIGMAS * noise)[:, None, None], 0)
    taken = total(np.maximum(sight.soft, 0), sight.near)
    return np.asarray(total(above, sight.near) / np.maximum(taken, np.float32(TINY)))


def _hollows(
    sight: _Sight, rows: NDArray[np.float32], cols: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return the depth at a mark's centre over its deepest: 1 is solid, 0 a ring."""
    middle = np.rint(rows).astype(np.intp), np.rint(cols).astype(np.intp)
    is_deep = sight.peak > 0
    at_centre = sight.soft[np.arange(len(rows)), *middle]
    return np.where(is_deep, at_centre / np.where(is_deep, sight.peak, 1), np.float32(1))


def _edges(sight: _Sight) -> NDArray[np.float32]:
    """Return the depth over the steepest slope of each mark's flank [cells].

    The slope is the upper quartile along the half-depth line, so that one noisy cell does not
    decide.
    """
    soft, ridge = sight.soft, sight.ridge[:, None, None]
    own = sight.maps.mine | sight.maps.free
    flank = own & (soft > FLANK[0] * ridge) & (soft < FLANK[1] * ridge)
    # Slopes are worked out there and nowhere else.
    slopes = _slopes(soft, np.flatnonzero(flank))
    n_cells = np.count_nonzero(flank, axis=(1, 2))
    steep = Rising.of_lists(slopes, n_cells).quantile(UPPER_QUARTILE, empty=-1.0)
    edges = sight.ridge / np.maximum(steep, np.float32(TINY))
    return np.where(steep < 0, np.float32(NO_FLANK_CELL), edges)


def _slopes(maps: NDArray[np.float32], cells: NDArray[np.intp]) -> NDArray[np.float32]:
    """Return the slope at some cells, counted through all maps; one-sided at a map's border."""
    n_rows, n_cols = maps.shape[1:]
    flat = maps.ravel()
    row, col = np.divmod(cells % (n_rows * n_cols), n_cols)
    along = []
    for place, n_places, step in ((row, n_rows, n_cols), (col, n_cols, 1)):
        before, after = (place > 0).astype(np.intp), (place < n_places - 1).astype(np.intp)
        rise = flat[cells + after * step] - flat[cells - before * step]
        along.append(rise / (before + after).astype(np.float32))
    slopes: NDArray[np.float32] = np.hypot(*along)
    return slopes


def _touch_border(outsets: Outsets, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Return which regions have cells along the edge of the picture, (n,)."""
    cells = outsets.regions.cells
    is_at_edge = (cells.row == 0) | (cells.row == shape[0] - 1)
    is_at_edge |= (cells.col == 0) | (cells.col == shape[1] - 1)
    return cells.only(is_at_edge).counts > 0
