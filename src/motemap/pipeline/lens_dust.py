"""Dust on the lens: wide, faint, round shadows that the search for sensor dust looks through.

Rear-element dust lies 15-40 mm from the photosites, so its shadow is ten to thirty times as
wide as that of sensor dust. It is looked for on a coarse copy of the frame, from which the
marks on the filter stack have been painted out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect import detect
from motemap.filters import SQUARE, all_of_squares, pool, pool_windows
from motemap.flatten import flatten
from motemap.measure import disc_groups, measure_all, owners, with_sharp_rims
from motemap.medians import typical
from motemap.optics.lens import (
    DEEPEST_FRAC,
    SOFTEST_OF_WIDTH,
    deepest_on_lens_frac,
    flank_on_lens_um,
    sharpest_on_lens_um,
)
from motemap.pipeline.known_optics import USUAL_F, USUAL_PITCH_UM, WIDE_STACK_MM
from motemap.settings import DetectSettings, FlattenSettings
from motemap.strips import cell_strips, for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.pipeline.known_optics import KnownOptics
    from motemap.records import FlatFrame, MeasuredSpot, MeasuredSpots, Plane

NEAREST_MM, FARTHEST_MM = 6.0, 45.0
"""Air-equivalent distances looked at: from beyond the thickest stacks to a little more than the
farthest rear elements, see the top."""
COARSE_BLUR_CELLS = 4.0
"""Cells across the blur disc of the nearest lens dust on the coarse copy."""
FAR_SNR_MIN = 5.5
FAR_DEPTH_MIN_FRAC = 0.0035
"""What the search asks of lens dust, in place of the limits of `DetectSettings`; a choice."""
LONGEST = 1.7
"""Length over width of a disc, at most."""
OBJECT_BLURS = 1.4
"""Softness of the rim in blur discs of the thickest filter stack, beyond which a mark does not lie
on it (drawn frames)."""
FILM_DEPTH_MIN_FRAC, LONG_FILM_DEPTH_MIN_FRAC = 0.02, 0.03
"""What is wide and fainter than this may as well be uneven light; and a long one, several faint discs
in a row, whose sum does not show in the noise."""
FILM_SOFTEST_OF_WIDTH = 0.5
"""Flank over width of a film that has a core. The bell of uneven light has 0.7 (derived)."""
VALID_SHARE = 0.5
"""A coarse cell is usable when more of its cells are."""
FEWEST_SHARE = 0.2
"""A coarse cell with a smaller share of its cells free of marks says nothing about the light."""
NARROWEST_OF_BLUR = 0.8
NARROWEST_PX = 30.0
"""Width of the narrowest disc of lens dust, in blur discs of the nearest, but never less than
this."""
SMALLEST_COPY_CELLS = 48
"""Smaller copies hold fewer than six boxes a side, too few to tell disc from background."""
BOX_CELLS = 8
"""Side of a box of the background of the coarse copy [cells of that]."""
PIECE_BLURS = 1.0
"""Softness of the flank, in blur discs of dust on the stack, from which a mark may be a piece of a
disc."""
SOFTEST_OF_DUST = 1.3
"""Softness of a disc's flank over that of a round grain of its depth, at most (drawn frames: 1.2;
films that a sum of discs fits well have 1.5 and more)."""
FEWEST_OF_SUM = 2
"""A single disc is no sum; it was looked at as a mark."""
ALIKE = 1.6
"""Widest over narrowest of discs that lie over one another: dust on one glass is equally far."""
BACKGROUND_BOXES = 9
"""Boxes that the background is smoothed over: wider than any disc that is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LensDust:
    """The shadows of dust on the lens.

    Parameters
    ----------
    alone : tuple of MeasuredSpot
        Discs by themselves.
    overlapping : tuple of MeasuredSpot
        Discs that lie over others.
    films : tuple of MeasuredSpot
        What is as wide, but nothing that dust on a lens throws: films on the filter stack.
    """

    alone: tuple[MeasuredSpot, ...]
    overlapping: tuple[MeasuredSpot, ...]
    films: tuple[MeasuredSpot, ...]


def find_lens_dust(
    plane: Plane, flat: FlatFrame, marked: NDArray[np.bool_], optics: KnownOptics
) -> LensDust:
    """Find the shadows of dust on the lens.

    Parameters
    ----------
    plane : Plane
        The picture.
    flat : FlatFrame
        The same, flattened; its background fills the marks.
    marked : (H / 2, W / 2) bool
        Squares of 2 x 2 cells with marks on the filter stack, which are looked past.
    optics : KnownOptics

    Returns
    -------
    LensDust
    """
    coarse = _coarse_copy(plane, flat, marked, optics)
    if min(coarse.light.shape) < SMALLEST_COPY_CELLS:
        return LensDust(alone=(), overlapping=(), films=())
    box_px = BOX_CELLS * float(coarse.bin_px)
    settings = FlattenSettings(box_min_px=box_px, box_max_px=box_px, median_boxes=BACKGROUND_BOXES)
    far_flat = flatten(coarse, blur_px=optics.blur_px(FARTHEST_MM), settings=settings)
    codes_frac = 0.0 if flat.floor_frac is None else typical(flat.floor_frac)
    search = DetectSettings(snr_min=FAR_SNR_MIN, depth_min_frac=max(FAR_DEPTH_MIN_FRAC, codes_frac))
    widest_px = optics.blur_px(FARTHEST_MM)
    found = detect(far_flat, widest_px=widest_px, usual_px=widest_px, settings=search).found
    spots = with_sharp_rims(
        flat,
        found,
        measure_all(far_flat, found, owners(far_flat, found)),
        marked,
        narrowest_px=(narrowest_px(optics), narrowest_px(optics)),
        of_cells=coarse.bin_px // flat.bin_px,
    )
    sums = [
        group
        for group in disc_groups(
            far_flat, found, narrowest_px=narrowest_px(optics), widest_px=widest_px
        )
        if _are_discs(group.discs, optics)
    ]
    explained = {member for group in sums for member in group.members}
    others = [spot for member, spot in enumerate(spots) if member not in explained]
    return LensDust(
        alone=tuple(spot for spot in others if is_disc(spot, optics)),
        overlapping=tuple(disc for group in sums for disc in group.discs),
        films=tuple(spot for spot in others if _is_film(spot, optics)),
    )


def may_be_pieces(spots: MeasuredSpots, optics: KnownOptics) -> NDArray[np.bool_]:
    """Tell which marks may be pieces of discs that lie over one another, (n,).

    Pieces are as long as a disc is wide and have its soft flank.
    """
    return (
        (spots.edge_px > PIECE_BLURS * optics.blur_px())
        & (spots.length_px > narrowest_px(optics))
        & (spots.depth_frac <= DEEPEST_FRAC)
    )


def _are_discs(discs: tuple[MeasuredSpot, ...], optics: KnownOptics) -> bool:
    """Tell whether several discs, found as a sum, are such as dust on the lens throws.

    Of discs whose cores lie over one another the flanks need not bear out the depth: films on
    the filter stack run into one another, and do not add up.
    """
    widths_px = [disc.width_px for disc in discs]
    if len(discs) < FEWEST_OF_SUM or max(widths_px) > ALIKE * min(widths_px):
        return False
    return all(
        _is_soft_as_dust(disc, optics)
        and (
            is_disc(disc, optics)
            or (_is_faint_disc(disc, optics) and any(_are_over(disc, other) for other in discs))
        )
        for disc in discs
    )


def _is_soft_as_dust(disc: MeasuredSpot, optics: KnownOptics) -> bool:
    """Tell a disc no softer than dust as large as its depth says from a part of a soft film."""
    pitch_um = optics.pitch_um or USUAL_PITCH_UM
    dust_um = flank_on_lens_um(
        disc.width_px * pitch_um, disc.depth_frac, optics.f_number or USUAL_F
    )
    return disc.edge_px * pitch_um <= SOFTEST_OF_DUST * dust_um


def _are_over(disc: MeasuredSpot, other: MeasuredSpot) -> bool:
    """Tell whether the cores of two discs meet."""
    nearest_px = (disc.width_px + other.width_px) / 2 - max(disc.edge_px, other.edge_px)
    return disc is not other and distance_px(disc, other) < nearest_px


def distance_px(one: MeasuredSpot, other: MeasuredSpot) -> float:
    """Return how far the middles of two marks are apart [px]."""
    return math.hypot(
        one.centre.row_px - other.centre.row_px, one.centre.col_px - other.centre.col_px
    )


def is_disc(spot: MeasuredSpot, optics: KnownOptics) -> bool:
    """Tell a disc with a clear rim, wide enough for the lens, from humps of uneven light.

    What is deeper than anything on a lens can throw is none: dirt on the filter stack, or an
    object in the picture.
    """
    return _is_disc_with(spot, spot.edge_px, optics)


def _is_faint_disc(spot: MeasuredSpot, optics: KnownOptics) -> bool:
    """Tell a disc whose depth is within bounds, whatever flank it has."""
    return _is_disc_with(spot, SOFTEST_OF_WIDTH * spot.width_px, optics)


def _is_disc_with(spot: MeasuredSpot, flank_px: float, optics: KnownOptics) -> bool:
    # A hump of screen mottling has 0.85.
    if not _is_wide(spot, optics) or spot.edge_px > SOFTEST_OF_WIDTH * spot.width_px:
        return False
    return spot.depth_frac <= _deepest_frac(spot.width_px, flank_px, optics)


def _deepest_frac(width_px: float, flank_px: float, optics: KnownOptics) -> float:
    """Return how deep dust on a lens can make a shadow of this width and with this flank."""
    pitch_um, f_number = optics.pitch_um or USUAL_PITCH_UM, optics.f_number or USUAL_F
    return float(deepest_on_lens_frac(width_px * pitch_um, flank_px * pitch_um, f_number))


def sharpest_rim_px(disc: MeasuredSpot, optics: KnownOptics) -> float:
    """Return how soft a disc's rim, or a piece of it, is at its sharpest place."""
    pitch_um, f_number = optics.pitch_um or USUAL_PITCH_UM, optics.f_number or USUAL_F
    return sharpest_on_lens_um(disc.width_px * pitch_um, disc.depth_frac, f_number) / pitch_um


def _is_film(spot: MeasuredSpot, optics: KnownOptics) -> bool:
    """Tell a film on the filter stack from dust on the lens and from uneven light.

    It has a core and a rim, which uneven light has not. A long one by itself is no disc; of others
    the rim has to be sharper than that of any disc as wide as they are long, lest a piece of one be
    taken for a film.
    """
    if spot.is_at_border or spot.depth_frac < FILM_DEPTH_MIN_FRAC:
        return False
    if spot.width_px < narrowest_px(optics) or spot.edge_px > FILM_SOFTEST_OF_WIDTH * spot.width_px:
        return False
    is_long = spot.length_px > LONGEST * spot.width_px and not spot.has_neighbour
    if is_long and spot.depth_frac >= LONG_FILM_DEPTH_MIN_FRAC:
        return True
    return spot.depth_frac > _deepest_frac(spot.length_px, spot.edge_px, optics)


def is_too_soft(spot: MeasuredSpot, optics: KnownOptics) -> bool:
    """Tell a rim that is softer than any filter stack makes that of dust."""
    return spot.edge_px > OBJECT_BLURS * optics.blur_px(WIDE_STACK_MM)


def is_object(spot: MeasuredSpot, optics: KnownOptics) -> bool:
    """Tell what no dust can throw: too deep for the lens and too soft for any filter stack."""
    return _is_wide(spot, optics) and is_too_soft(spot, optics) and spot.depth_frac > DEEPEST_FRAC


def _is_wide(spot: MeasuredSpot, optics: KnownOptics) -> bool:
    """Tell what is round and as wide as the nearest lens throws dust."""
    return spot.width_px > narrowest_px(optics) and spot.length_px <= LONGEST * spot.width_px


def narrowest_px(optics: KnownOptics) -> float:
    """Return how wide the disc of dust on the lens is at least [px]."""
    return max(NARROWEST_OF_BLUR * optics.blur_px(NEAREST_MM), NARROWEST_PX)


def _coarse_copy(
    plane: Plane, flat: FlatFrame, marked: NDArray[np.bool_], optics: KnownOptics
) -> Plane:
    """Pool the light past all marks; where they cover nearly all, the background stands in."""
    n_times, side = 1, SQUARE * plane.bin_px
    while SQUARE * side <= optics.blur_px(NEAREST_MM) / COARSE_BLUR_CELLS:
        n_times, side = n_times + 1, SQUARE * side
    step = side // plane.bin_px
    counted = None if flat.valid.all() else flat.valid

    def coarse(rows: slice) -> NDArray[np.float32]:
        light = pool(plane.light[rows])
        free = ~marked[rows.start // SQUARE :][: len(light)]
        if counted is not None:
            free &= all_of_squares(counted[rows])
        weight = free.astype(np.float32)
        light *= weight
        for _ in range(1, n_times):
            light, weight = pool(light), pool(weight)
        light /= np.maximum(weight, np.float32(FEWEST_SHARE))
        is_hidden = weight <= FEWEST_SHARE
        if is_hidden.any():
            background = flat.background[rows.start : rows.stop : step, ::step]
            light[is_hidden] = background[is_hidden]
        return light

    light = np.concatenate(for_each(coarse, cell_strips(*plane.light.shape, step=step)))
    valid = (
        np.ones(light.shape, np.bool_)
        if counted is None
        else pool_windows(counted, n_times) > VALID_SHARE
    )
    return replace(
        plane, light=light, valid=valid, bin_px=side, code_step=None, block_step_codes=None
    )
