"""Find the marks: dips of the flattened light that are compact and closed on all sides."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from motemap.detect.clumps import look_into
from motemap.detect.levels import search_levels
from motemap.detect.parting import part_clumps
from motemap.detect.parts import parts_of, shades_of
from motemap.detect.pieces import find_pieces
from motemap.detect.rings import join_rings
from motemap.detect.surroundings import are_closed
from motemap.filters import FWHM_PER_SIGMA
from motemap.records import Detection

if TYPE_CHECKING:
    from motemap.detect.clumps import Clump
    from motemap.detect.levels import Search
    from motemap.records import FlatFrame, Region
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
    parts = parts_of(search, clumps, partings)
    asked = [place for place, region in enumerate(parts.regions) if region.snr >= settings.snr_min]
    closed = are_closed(
        flat, search, [parts.regions[place] for place in asked], parts.depth_frac[asked]
    )
    found = [
        (int(parts.clump[place]), parts.regions[place])
        for place, is_closed in zip(asked, closed.tolist(), strict=True)
        if is_closed
    ]
    found += [
        (number, region)
        for number, parting in enumerate(partings)
        if parting.shades
        for region in shades_of(clumps[number], parting)
        if region.snr >= settings.snr_min
    ]
    found.sort(key=lambda numbered: numbered[0])
    return [region for _, region in found]
