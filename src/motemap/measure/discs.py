"""Discs that lie over one another, found by what their sum explains.

Where the shadows of dust on the lens overlap, the search finds pieces: here the overlap, there the
rest of a disc, as long and as soft as a smear. Together they are the sum of a few flat discs, or they
are something else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import FramePoint, cell_to_px
from motemap.masks import grown, label_pieces
from motemap.measure.disc_fit import COL, DENSITY, RADIUS, RIM, ROW, fit_discs
from motemap.medians import typical
from motemap.records import MeasuredSpot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Regions

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

MOST_DISCS = 3
"""More discs explain anything that is smooth."""
MOST_GROUPS = 8
"""Groups looked at, the largest first: more are mottled light, or a lens that has to be cleaned."""
MOST_CELLS = 1000
"""Cells of a group looked at; of a larger one, as many tell as much."""
REACH_CELLS = 3
"""Cells round a group that must be explained, too."""
GOOD_FRAC = 0.02
"""Share of a group's sum of squares, noise apart, that discs may leave unexplained (drawn
frames)."""
HOPELESS_FRAC = 0.5
"""What one disc explains worse than this is none of a few."""
FIRST_RIM = 0.35
"""Half the width of a rim over the radius, to begin with."""
SHARED = 0.7
"""Power of their number by which the area of discs over one another shrinks, to begin with."""
N_SHARINGS = 20
"""Rounds of sharing out; a choice, made large."""
DARKEST_FRAC = -0.99
"""Contrast below which a cell counts as this dark, as black has no logarithm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscGroup:
    """Marks that touch one another, and the discs whose sum they are.

    Parameters
    ----------
    members : tuple of int
        The marks, by number.
    discs : tuple of MeasuredSpot
        Empty where no sum of a few discs explains them.
    """

    members: tuple[int, ...]
    discs: tuple[MeasuredSpot, ...]


def disc_groups(
    flat: FlatFrame, found: Regions, *, narrowest_px: float, widest_px: float
) -> tuple[DiscGroup, ...]:
    """Take marks that touch one another for sums of a few discs.

    Parameters
    ----------
    flat : FlatFrame
    found : Regions
        What was found in it.
    narrowest_px, widest_px : float
        Widths of discs looked for.
    """
    least_cells, most_cells = (
        math.pi / 4 * (width_px / flat.bin_px) ** 2 for width_px in (narrowest_px, widest_px)
    )
    if len(found.cells.row) < least_cells:
        return ()
    is_found = np.zeros(flat.contrast.shape, np.bool_)
    is_found[found.cells.row, found.cells.col] = True
    group = label_pieces(grown(is_found, 1))
    of_cell = group[found.cells.row, found.cells.col]
    counts = np.bincount(of_cell)
    counts[(counts < least_cells) | (counts > MOST_DISCS * most_cells)] = 0
    largest = np.argsort(-counts, kind="stable")[:MOST_GROUPS]
    return tuple(
        _fitted(flat, found, group == number, is_found)
        for number in largest.tolist()
        if counts[number] > 0
    )


def _fitted(flat: FlatFrame, found: Regions, group: Flags, is_found: Flags) -> DiscGroup:
    """Find the fewest discs that explain a group."""
    is_own = is_found & group
    near = grown(group, REACH_CELLS) & flat.valid & ~(is_found & ~group)
    rows, cols = (part.astype(np.float64) for part in np.nonzero(near))
    box = tuple(slice(int(part.min()), int(part.max()) + 1) for part in (rows, cols))
    window = box[0], box[1]
    seen = near[window]
    every = max(len(rows) // MOST_CELLS, 1)
    light = 1 + np.maximum(flat.contrast[window][seen], DARKEST_FRAC).astype(np.float64)
    density = -np.log(light)[::every]
    rows, cols = rows[::every], cols[::every]
    # Near so large a shadow the local noise is that of its rim.
    noise = len(density) * typical(flat.noise_frac) ** 2
    members = np.unique(found.cells.mask[group[found.cells.row, found.cells.col]])
    of_own = is_own[window][seen][::every]
    whole = float(density @ density)
    discs: Sequence[MeasuredSpot] = ()
    for n_discs in range(1, MOST_DISCS + 1):
        first = _first_discs(density, np.stack([rows, cols], axis=1), of_own, n_discs)
        first[:, [RADIUS, RIM]] *= math.sqrt(every)
        fit = fit_discs(density, rows, cols, first)
        unexplained_frac = max(fit.misfit - noise, 0.0) / whole
        if unexplained_frac < GOOD_FRAC:
            discs = _spots(fit.discs, flat, float(found.snr[members].max()))
            break
        if unexplained_frac > HOPELESS_FRAC:
            break
    return DiscGroup(members=tuple(members.tolist()), discs=tuple(discs))


def _first_discs(density: Floats, cells: Floats, is_own: Flags, n_discs: int) -> Floats:
    """Share a group's cells, (k, 2), among discs by which middle is nearest, again and again."""
    places = cells[is_own]
    middles = places.mean(axis=0)[None]
    if n_discs > 1:
        middles = places[[int(_squares(places, middles)[:, 0].argmax())]]
    while len(middles) < n_discs:
        farthest = int(_squares(places, middles).min(axis=1).argmax())
        middles = np.concatenate([middles, places[[farthest]]])
    for _ in range(N_SHARINGS):
        shares = np.eye(n_discs)[_squares(places, middles).argmin(axis=1)]
        # A middle that is nearest to no cell is lost to that of the frame: no fit comes of it.
        middles = shares.T @ places / np.maximum(shares.sum(axis=0), 1)[:, None]
    radius = math.sqrt(len(places) / math.pi / n_discs**SHARED)
    first = np.empty((n_discs, 5))
    first[:, ROW], first[:, COL] = middles.T
    first[:, RADIUS], first[:, RIM] = radius, FIRST_RIM * radius
    first[:, DENSITY] = np.median(density[is_own])
    return first


def _squares(places: Floats, middles: Floats) -> Floats:
    """Return the squared distances of n places from m middles, (n, m)."""
    apart: Floats = ((places[:, None] - middles[None]) ** 2).sum(axis=2)
    return apart


def _spots(discs: Floats, flat: FlatFrame, significance: float) -> list[MeasuredSpot]:
    """Write discs down as marks."""
    bin_px = flat.bin_px
    height, width = flat.contrast.shape
    return [
        MeasuredSpot(
            centre=FramePoint(
                row_px=float(cell_to_px(row, bin_px)), col_px=float(cell_to_px(col, bin_px))
            ),
            depth_frac=-math.expm1(-density),
            snr=significance,
            width_px=2 * radius * bin_px,
            length_px=2 * radius * bin_px,
            lost_area_px2=-math.expm1(-density) * math.pi * (radius * bin_px) ** 2,
            # Depth over steepest slope of a rim (derived from the share of a disc beside a chord).
            edge_px=math.pi / 2 * rim * bin_px,
            seen_depth_frac=-math.expm1(-density),
            significance=significance,
            is_at_border=not (
                radius <= row <= height - 1 - radius and radius <= col <= width - 1 - radius
            ),
            has_neighbour=len(discs) > 1,
        )
        for row, col, radius, rim, density in discs.tolist()
    ]
