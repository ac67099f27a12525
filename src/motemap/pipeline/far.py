"""Dust on the lens: wide, faint, round shadows that the search for sensor dust looks through.

Rear-element dust lies 15-40 mm from the photosites, so its shadow is ten to thirty times as
wide as that of sensor dust. It is looked for on a coarse copy of the frame, from which the
marks on the filter stack have been painted out.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect import detect
from motemap.filters import SQUARE, all_of_squares, pool, pool_windows
from motemap.flatten import flatten
from motemap.measure import measure_all, owners
from motemap.optics.lens import DEEPEST_FRAC, SOFTEST_OF_WIDTH, deepest_on_lens_frac
from motemap.pipeline.view import USUAL_PITCH_UM, WIDE_STACK_MM
from motemap.settings import DetectSettings, FlattenSettings
from motemap.strips import cell_strips, for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.pipeline.view import View
    from motemap.records import FlatFrame, MeasuredSpot, Plane

NEAREST_MM, FARTHEST_MM = 6.0, 45.0
COARSE_BLUR_CELLS = 4.0
"""Cells across the blur disc of the nearest lens dust on the coarse copy."""
FAR_SNR_MIN = 5.5
FAR_DEPTH_MIN_FRAC = 0.0035
LONGEST = 1.7
"""Length over width of a disc, at most."""
OBJECT_BLURS = 1.4
"""Softness of the rim in blur discs of the thickest filter stack, beyond which a mark does not lie
on it (drawn frames)."""
VALID_SHARE = 0.5
FEWEST_SHARE = 0.2
"""A coarse cell with a smaller share of its cells free of marks says nothing about the light."""
NARROWEST_OF_BLUR = 0.8
NARROWEST_PX = 30.0
SMALLEST_COPY_CELLS = 48
"""Smaller copies hold fewer than six boxes a side, too few to tell disc from background."""
BOX_CELLS = 8
LOOK_EVERY = 8
BACKGROUND_BOXES = 9
"""Boxes that the background is smoothed over: wider than any disc that is looked for."""


def find_far(
    plane: Plane, flat: FlatFrame, marked: NDArray[np.bool_], view: View
) -> tuple[MeasuredSpot, ...]:
    """Find the shadows of dust on the lens.

    Parameters
    ----------
    plane : Plane
        The picture.
    flat : FlatFrame
        The same, flattened; its background fills the marks.
    marked : (H / 2, W / 2) bool
        Squares of 2 x 2 cells with marks on the filter stack.
    view : View

    Returns
    -------
    tuple of MeasuredSpot
    """
    coarse = _coarse_copy(plane, flat, marked, view)
    if min(coarse.light.shape) < SMALLEST_COPY_CELLS:
        return ()
    box_px = BOX_CELLS * float(coarse.bin_px)
    settings = FlattenSettings(box_min_px=box_px, box_max_px=box_px, median_boxes=BACKGROUND_BOXES)
    far_flat = flatten(coarse, blur_px=view.blur_px(FARTHEST_MM), settings=settings)
    codes_frac = (
        0.0
        if flat.floor_frac is None
        else float(np.median(flat.floor_frac[::LOOK_EVERY, ::LOOK_EVERY]))
    )
    search = DetectSettings(snr_min=FAR_SNR_MIN, depth_min_frac=max(FAR_DEPTH_MIN_FRAC, codes_frac))
    widest_px = view.blur_px(FARTHEST_MM)
    found = detect(far_flat, widest_px=widest_px, usual_px=widest_px, settings=search).found
    spots = measure_all(far_flat, found, owners(far_flat, found))
    return tuple(spot for spot in spots if is_disc(spot, view))


def is_disc(spot: MeasuredSpot, view: View) -> bool:
    """Tell a disc with a clear rim, wide enough for the lens, from humps of uneven light.

    What is deeper than anything on a lens can throw is none: dirt on the filter stack, or an
    object in the picture.
    """
    pitch_um = view.pitch_um or USUAL_PITCH_UM
    deepest_frac = deepest_on_lens_frac(spot.width_px * pitch_um, spot.edge_px * pitch_um)
    return (
        _is_wide(spot, view)
        # A hump of screen mottling has 0.85.
        and spot.edge_px <= SOFTEST_OF_WIDTH * spot.width_px
        and spot.depth_frac <= float(deepest_frac)
    )


def is_object(spot: MeasuredSpot, view: View) -> bool:
    """Tell what no dust can throw: too deep for the lens and too soft for any filter stack."""
    is_soft = spot.edge_px > OBJECT_BLURS * view.blur_px(WIDE_STACK_MM)
    return _is_wide(spot, view) and is_soft and spot.depth_frac > DEEPEST_FRAC


def _is_wide(spot: MeasuredSpot, view: View) -> bool:
    """Tell what is round and as wide as the nearest lens throws dust."""
    return (
        spot.width_px > max(NARROWEST_OF_BLUR * view.blur_px(NEAREST_MM), NARROWEST_PX)
        and spot.length_px <= LONGEST * spot.width_px
    )


def _coarse_copy(plane: Plane, flat: FlatFrame, marked: NDArray[np.bool_], view: View) -> Plane:
    """Pool the light past all marks; where they cover nearly all, the background stands in."""
    n_times, side = 1, SQUARE * plane.bin_px
    while SQUARE * side <= view.blur_px(NEAREST_MM) / COARSE_BLUR_CELLS:
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
    return replace(plane, light=light, valid=valid, bin_px=side, code_step=None)
