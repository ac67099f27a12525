"""Find the marks: dips of the flattened light that are compact and closed on all sides."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.detect.boxes import widened
from motemap.detect.clumps import Clump, Parting, look_into, part_clumps, pieces_by_level
from motemap.detect.dips import LEVEL_SIGMA
from motemap.detect.fine import SQUARE
from motemap.detect.levels import Search, search_levels
from motemap.detect.rings import join_rings
from motemap.detect.surroundings import look_around
from motemap.filters import Box, label_pieces, piece_boxes
from motemap.planes import enlarge
from motemap.records import Detection, Region

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from motemap.records import FlatFrame
    from motemap.settings import DetectSettings

__all__ = ["detect"]

N_LEVELS_MAX = 6
NARROWEST_CELLS = 4.0
"""Widest shadow that the first level finds by itself; each further level finds twice that."""
OPEN_SHARE_MAX = 0.25
"""Share of a mark's surroundings that may be as dark as itself, three sectors of twelve."""
FEWEST_SECTORS = 3
"""Sectors that have to be seen before they tell whether a mark is closed."""
RING_OF_THICKNESS, GAP_OF_THICKNESS = 0.5, 0.15
RING_MIN_CELLS, GAP_MIN_CELLS = 3, 1
"""Width of the ring that is looked at, and its distance from the mark."""
CROWDED_SNR = 15.0
"""A mark so closely beset that its surroundings cannot be seen has to be clear by itself."""
STANDS_OUT = 2.5
"""A mark no clearer than that is so many times as deep as its surroundings scatter, sector by
sector. Of 2700 faint marks drawn in all kinds of frames all but one are."""
FWHM_PER_SIGMA = 2.3548


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
    clumps = [
        look_into(flat, search, box, piece)
        for box, inside in _pieces(search)
        for piece in pieces_by_level(flat, search, box, inside)
    ]
    regions: list[Region] = []
    for clump, parting in zip(clumps, part_clumps(flat, clumps), strict=True):
        if parting.shades:
            regions.extend(_regions_of(clump, parting, settings))
        else:
            regions.extend(_regions_in(flat, search, clump, parting.shares, settings))
    return Detection(regions=tuple(join_rings(flat, regions)), scale_noise=search.scale_noise)


def _pieces(search: Search) -> Iterator[tuple[Box, NDArray[np.bool_]]]:
    """Yield the box of each connected piece in the flattened plane, and its cells there."""
    label = label_pieces(search.label > 0)
    for index, squares in enumerate(piece_boxes(label)):
        if squares is None:
            continue
        box = search.box_of(squares)
        height, width = (side.stop - side.start for side in box)
        yield box, enlarge(label[squares] == index + 1, SQUARE)[:height, :width]


def _regions_of(clump: Clump, parting: Parting, settings: DetectSettings) -> list[Region]:
    """Keep the clear ones of shadows that lie over one another.

    Nothing is asked of their surroundings, which belong to their neighbours: their shape was held
    against the usual one, and says more.
    """
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
        if clump.snr * shade.share >= settings.snr_min
    ]


def _regions_in(
    flat: FlatFrame,
    search: Search,
    clump: Clump,
    shares: NDArray[np.int32],
    settings: DetectSettings,
) -> list[Region]:
    """Keep what is a mark of the parts of a clump."""
    found = []
    top, left = clump.box[0].start, clump.box[1].start
    snr_near = search.snr_in(clump.box)
    for number, piece_box in enumerate(piece_boxes(shares)):
        if piece_box is None:
            continue
        mask = shares[piece_box] == number + 1
        snr = float(snr_near[piece_box][mask].max())
        if snr < settings.snr_min:
            continue
        region = Region(
            top_cell=top + piece_box[0].start,
            left_cell=left + piece_box[1].start,
            mask=mask,
            snr=snr,
            scale_cell=clump.sigma_cell,
        )
        if _is_closed(flat, search, region, float(clump.depth[piece_box][mask].max())):
            found.append(region)
    return found


def _is_closed(flat: FlatFrame, search: Search, region: Region, depth_frac: float) -> bool:
    """Tell whether it is lighter on nearly all sides of a region; see `look_around`."""
    height, width = region.mask.shape
    thickness = 2 * float(ndimage.distance_transform_edt(np.pad(region.mask, 1)).max())
    ring = max(RING_MIN_CELLS, round(RING_OF_THICKNESS * thickness))
    gap = max(GAP_MIN_CELLS, round(GAP_OF_THICKNESS * thickness))
    box = (
        slice(region.top_cell, region.top_cell + height),
        slice(region.left_cell, region.left_cell + width),
    )
    crop, inner = widened(box, ring + gap + 1, flat.contrast.shape)
    mask = np.zeros(flat.contrast[crop].shape, bool)
    mask[inner] = region.mask
    # Shadows found at coarser levels are what a small mark may lie in, not its neighbours.
    level = round(math.log2(region.scale_cell / LEVEL_SIGMA)) + 1
    near = search.label_in(crop)
    usable = ((near == 0) | (near > level)) & ~mask & flat.valid[crop]
    around = look_around(flat.contrast[crop], mask, usable, gap, ring, depth_frac)
    is_clear = region.snr > CROWDED_SNR
    if around.n_sectors < FEWEST_SECTORS:
        return is_clear
    if not is_clear and depth_frac + around.level_frac < STANDS_OUT * around.scatter_frac:
        return False
    return around.open_share <= OPEN_SHARE_MAX
