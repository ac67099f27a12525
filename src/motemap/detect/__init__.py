"""Find the marks: dips of the flattened light that are compact and closed on all sides."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from motemap.detect.levels import search_levels
from motemap.detect.looking import look_into
from motemap.detect.parting import part_clumps
from motemap.detect.parts import parts_of, with_shades
from motemap.detect.pieces import find_pieces
from motemap.detect.rings import join_rings
from motemap.detect.surroundings import are_closed
from motemap.filters import FWHM_PER_SIGMA
from motemap.records import Detection, Regions

if TYPE_CHECKING:
    from motemap.detect.levels import Search
    from motemap.detect.pieces import Pieces
    from motemap.records import FlatFrame
    from motemap.settings import DetectSettings

__all__ = ["detect"]

N_LEVELS_MAX = 6
"""At the sixth, cells are 32 times as wide as those of the plane."""
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
    pieces = find_pieces(flat, search)
    found = _regions(flat, search, pieces, settings) if len(pieces.boxes) else Regions.none()
    return Detection(found=found, scale_noise=search.scale_noise)


def _regions(flat: FlatFrame, search: Search, pieces: Pieces, settings: DetectSettings) -> Regions:
    """Keep what is a mark of the parts of all pieces, piece by piece.

    Nothing is asked of the surroundings of shadows that lie over one another, as these belong to
    their neighbours: their shape was held against the usual one, and says more.
    """
    clumps = look_into(flat, search, pieces)
    partings = part_clumps(flat, clumps)
    parts = parts_of(search, clumps, partings)
    parts = parts.only(parts.regions.snr >= settings.snr_min)
    parts = parts.only(are_closed(flat, search, parts.regions, parts.depth_frac))
    return join_rings(flat, with_shades(parts, clumps, partings, settings.snr_min))
