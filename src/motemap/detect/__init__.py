"""Find the marks: dips of the flattened light that are compact and closed on all sides."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import Cells
from motemap.detect.boxes import inner_of
from motemap.detect.clumps import look_into
from motemap.detect.levels import search_levels
from motemap.detect.parting import part_clumps
from motemap.detect.pieces import find_pieces
from motemap.detect.rings import join_rings
from motemap.detect.surroundings import are_closed
from motemap.filters import FWHM_PER_SIGMA, SQUARE
from motemap.records import Detection, Region

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.clumps import Clump
    from motemap.detect.levels import Search
    from motemap.detect.parting import Parting
    from motemap.records import FlatFrame
    from motemap.settings import DetectSettings

__all__ = ["detect"]

N_LEVELS_MAX = 6
NARROWEST_CELLS = 4.0
"""Widest shadow that the first level finds by itself; each further level finds twice that."""


def detect(
    flat: FlatFrame, *, widest_px: float, usual_px: float, settings: DetectSettings
) -> Detection:
    """Label every mark of a flattened frame.

    Parameters
    ----------
    flat : FlatFrame
    widest_px : float
        Width of the widest shadow that dust on the filter stack can throw [stored px].
    usual_px : float
        Width up to which most shadows lie [stored px]; more is asked of wider ones.
    settings : DetectSettings

    Returns
    -------
    Detection
        Regions clump by clump, clumps in reading order of their first cells; none when there
        is nothing.
    """
    widest_cells = max(NARROWEST_CELLS, widest_px / flat.bin_px)
    n_levels = min(N_LEVELS_MAX, math.ceil(math.log2(widest_cells / NARROWEST_CELLS)) + 1)
    search = search_levels(flat, n_levels, settings, usual_px / flat.bin_px / FWHM_PER_SIGMA)
    clumps = look_into(flat, search, find_pieces(flat, search))
    regions = _regions(flat, search, clumps, settings)
    return Detection(regions=tuple(join_rings(flat, regions)), scale_noise=search.scale_noise)


def _regions(
    flat: FlatFrame, search: Search, clumps: list[Clump], settings: DetectSettings
) -> list[Region]:
    """Keep what is a mark of the parts of all clumps, clump by clump.

    Nothing is asked of the surroundings of shadows that lie over one another, as these belong to
    their neighbours: their shape was held against the usual one, and says more.
    """
    partings = part_clumps(flat, clumps)
    shades = [_shades_of(clump, parting) for clump, parting in zip(clumps, partings, strict=True)]
    parts = _parts(search, clumps, partings)
    found: list[list[Region]] = [
        [region for region in regions if region.snr >= settings.snr_min] for regions in shades
    ]
    clear = [part for part in parts if part.region.snr >= settings.snr_min]
    closed = are_closed(
        flat,
        search,
        [part.region for part in clear],
        np.array([part.depth_frac for part in clear]),
    )
    for part, is_closed in zip(clear, closed.tolist(), strict=True):
        if is_closed:
            found[part.clump].append(part.region)
    return [region for regions in found for region in regions]


def _shades_of(clump: Clump, parting: Parting) -> list[Region]:
    """Return the shadows of a clump that lie over one another, as regions."""
    return [
        Region(
            top_cell=shade.box[0].start,
            left_cell=shade.box[1].start,
            mask=shade.mask,
            snr=clump.snr * shade.share,
            scale_cell=clump.sigma_cell,
            alone=shade.alone,
        )
        for shade in parting.shades
    ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    """A clump, or a part of it that its dips tell from the rest; `clump` is its number."""

    clump: int
    region: Region
    depth_frac: float


def _parts(search: Search, clumps: list[Clump], partings: list[Parting]) -> list[_Part]:
    """Return the parts of all clumps that are not explained as shadows over one another."""
    places = [place for place, parting in enumerate(partings) if not parting.shades]
    n_parts = [partings[place].n_marks for place in places]
    cells, depth = _cells_of_parts(
        [clumps[place] for place in places], [partings[place] for place in places]
    )
    of_parts = zip(
        np.repeat(places, n_parts).tolist(),
        [number for count in n_parts for number in range(1, count + 1)],
        *(along.tolist() for side in cells.sides() for along in side),
        cells.largest(search.snr[cells.row // SQUARE, cells.col // SQUARE]).tolist(),
        cells.largest(depth).tolist(),
        strict=True,
    )
    parts = []
    for place, number, top, left, bottom, right, snr, deepest in of_parts:
        clump = clumps[place]
        box = inner_of(clump.box, (slice(top, bottom), slice(left, right)))
        region = Region(
            top_cell=top,
            left_cell=left,
            mask=partings[place].shares[box] == number,
            snr=snr,
            scale_cell=clump.sigma_cell,
        )
        parts.append(_Part(clump=place, region=region, depth_frac=deepest))
    return parts


def _cells_of_parts(
    clumps: list[Clump], partings: list[Parting]
) -> tuple[Cells, NDArray[np.float32]]:
    """List the cells of the parts of all clumps, parts counted on, and the depth of each."""
    if not clumps:
        return Cells.of([], []), np.empty(0, np.float32)
    masks = [parting.shares > 0 for parting in partings]
    cells = Cells.of(masks, [(clump.box[0].start, clump.box[1].start) for clump in clumps])
    number = np.concatenate([parting.shares.ravel() for parting in partings])
    depth = np.concatenate([clump.depth.ravel() for clump in clumps])
    is_held = number > 0
    n_parts = np.array([parting.n_marks for parting in partings])
    part = (np.cumsum(n_parts) - n_parts - 1)[cells.mask] + number[is_held]
    return replace(cells, mask=part, n_masks=int(n_parts.sum())), depth[is_held]
