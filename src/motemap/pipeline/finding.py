"""From a flattened frame to its measured marks, artefacts sorted out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np

from motemap.classify import ShadowScale, judge_origins
from motemap.coords import HALF_PX
from motemap.detect import detect
from motemap.filters import SQUARE
from motemap.flatten import are_grains, quiet_blocks
from motemap.measure import measure_all, owners, with_sharp_rims
from motemap.optics.lens import DEEPEST_FRAC
from motemap.particle import choose_stack, fit_stack
from motemap.pipeline.lens_dust import (
    distance_px,
    find_lens_dust,
    is_disc,
    is_too_soft,
    may_be_pieces,
    narrowest_px,
    sharpest_rim_px,
)
from motemap.planes import values_at
from motemap.records import MeasuredSpots

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.flatten import QuietBlocks
    from motemap.pipeline.known_optics import KnownOptics
    from motemap.pipeline.lens_dust import LensDust
    from motemap.records import Detection, FlatFrame, MeasuredSpot, Plane, Regions, Stack
    from motemap.settings import Settings

PLATEAU_STEPS = 0.2
"""Cells round a mark that differ by less than this share of a code agree on one code."""
FILM_BLURS = 1.5
"""Width of a long mark, in blur discs, from which the usual smoothing makes its flank too soft."""
FAR_REACH = 0.6
FAR_PIECE_DEPTH = 1.5
"""A mark within so many widths of lens dust, no deeper than so many times its depth and with a
soft flank, is a piece of it."""
OVERLAP_DEPTH = 1.1
"""Where discs lie over one another, the same times what all of them take: dust on the sensor beneath
an overlap is deeper, if not by much."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundMarks:
    """What is in a frame.

    Parameters
    ----------
    spots : tuple of MeasuredSpot
        Genuine marks.
    far : tuple of MeasuredSpot
        Wide soft shadows from the lens side, whose middles are in the picture.
    marked : (H / 2, W / 2) bool
        Squares of 2 x 2 cells with anything found, artefacts too.
    stack : Stack or None
        As measured from the marks themselves.
    detection : Detection
        What they were sorted out of, with the scatter of every filter.
    blocks : QuietBlocks or None
        The blocks of a picture in which single waves of coding may look like marks.
    """

    spots: tuple[MeasuredSpot, ...]
    far: tuple[MeasuredSpot, ...]
    marked: NDArray[np.bool_]
    stack: Stack | None
    detection: Detection
    blocks: QuietBlocks | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sight:
    """A frame, what was found in it, and that measured, one by one and in columns."""

    plane: Plane
    flat: FlatFrame
    found: Regions
    measured: tuple[MeasuredSpot, ...]
    columns: MeasuredSpots

    def look(self, is_painted: NDArray[np.bool_], optics: KnownOptics) -> LensDust:
        """Look for lens dust past some of the marks, (n,)."""
        marked = marked_squares(self.flat, self.found.only(is_painted))
        return find_lens_dust(self.plane, self.flat, marked, optics)


def find_marks(
    plane: Plane, flat: FlatFrame, optics: KnownOptics, known: Stack | None, settings: Settings
) -> FoundMarks:
    """Detect, measure and sort what stands out of a flattened frame.

    Parameters
    ----------
    plane : Plane
        The picture.
    flat : FlatFrame
        The same, flattened.
    optics : KnownOptics
    known : Stack or None
        Learned from other frames of the body. As in `choose_stack`, what the user gave goes before
        what is measured here, and that before this: the dust of the frame itself tells of its own
        distance, and what others tell is not to decide which of its marks may do so.
    settings : Settings
    """
    detection = detect(
        flat,
        widest_px=optics.widest_px,
        usual_px=optics.usual_px,
        settings=settings.detect,
    )
    found = detection.found
    marked = marked_squares(flat, found)
    measured = _measured(flat, found, marked, optics)
    columns = MeasuredSpots.of(measured)
    floor_frac = floors_at(flat, columns)
    blocks = quiet_blocks(plane, flat, found)
    is_coding = np.zeros(len(columns), np.bool_) if blocks is None else blocks.feign(found)
    given_mm = settings.work.stack_mm
    given = choose_stack(measured=None, given_mm=given_mm, history=None)
    scale = _scale(plane, columns, given, optics)
    first = judge_origins(columns, scale, floor_frac, is_coding)
    is_grain = are_grains(flat, found, columns, first.is_mark, marked)
    if is_grain.any():
        is_coding |= is_grain
        first = judge_origins(columns, scale, floor_frac, is_coding)
    stack = _measured_stack(
        flat,
        tuple(compress(measured, first.is_mark.tolist())),
        optics,
        is_cooked=not plane.has_photosites,
    )
    chosen = choose_stack(measured=stack, given_mm=given_mm, history=known)
    scale = _scale(plane, columns, chosen, optics)
    origins = judge_origins(columns, scale, floor_frac, is_coding)
    spots = tuple(compress(measured, origins.is_mark.tolist()))
    soft = tuple(compress(measured, origins.is_soft.tolist()))
    sight = _Sight(plane=plane, flat=flat, found=found, measured=measured, columns=columns)
    dust = _lens_dust(sight, origins.is_mark, optics)
    far = _far_marks(dust, (*spots, *soft), optics)
    spots = tuple(spot for spot in spots if not _is_part_of(spot, far, optics))
    films = tuple(film for film in dust.films if not any(_is_seen_in(film, spot) for spot in spots))
    return FoundMarks(
        spots=(*spots, *films),
        far=tuple(spot for spot in far if _is_inside(spot, flat)),
        marked=marked,
        stack=stack,
        detection=detection,
        blocks=blocks,
    )


def _measured(
    flat: FlatFrame, found: Regions, marked: NDArray[np.bool_], optics: KnownOptics
) -> tuple[MeasuredSpot, ...]:
    """Measure all marks, and look again at the rims of wide ones.

    But for whole discs, a rim that is too soft for the filter stack even where it is sharpest is left
    as it was measured: smoothed alike, pieces of one soft shadow are as soft as each other. So is one
    too deep for a film: a dark object in the picture is told by how soft it looks.
    """
    usual = measure_all(flat, found, owners(flat, found))
    sharp = with_sharp_rims(
        flat,
        found,
        usual,
        marked,
        narrowest_px=(narrowest_px(optics), FILM_BLURS * optics.blur_px()),
    )
    return tuple(
        as_measured
        if as_measured.depth_frac > DEEPEST_FRAC
        or (is_too_soft(spot, optics) and not is_disc(spot, optics))
        else spot
        for as_measured, spot in zip(usual, sharp, strict=True)
    )


def marked_squares(flat: FlatFrame, regions: Regions) -> NDArray[np.bool_]:
    """Return which squares of 2 x 2 cells hold a cell of any region, (H / 2, W / 2)."""
    height, width = flat.contrast.shape
    marked = np.zeros((-(-height // SQUARE), -(-width // SQUARE)), np.bool_)
    cells = regions.cells
    marked[cells.row // SQUARE, cells.col // SQUARE] = True
    return marked


def _scale(plane: Plane, spots: MeasuredSpots, stack: Stack, optics: KnownOptics) -> ShadowScale:
    """Return how wide shadows can be, learned from the marks where the stack is assumed."""
    scale = ShadowScale.from_optics(
        stack, optics.f_number, optics.pitch_um, is_smeared=not plane.has_photosites
    )
    return scale.narrowed_by(spots) if stack.source == "assumed" else scale


def _lens_dust(sight: _Sight, is_mark: NDArray[np.bool_], optics: KnownOptics) -> LensDust:
    """Look for lens dust past the marks, but not past what may be pieces of discs.

    Painted out, the pieces would be missing from the discs whose sum they are a part of. Those
    that turn out to be no part of any are painted out in a second look.
    """
    may_be = is_mark & may_be_pieces(sight.columns, optics)
    dust = sight.look(is_mark & ~may_be, optics)
    is_piece = np.zeros_like(is_mark)
    discs = (*dust.overlapping, *dust.alone)
    for index in np.flatnonzero(may_be).tolist():
        is_piece[index] = _is_part_of(sight.measured[index], discs, optics)
    return dust if np.array_equal(is_piece, may_be) else sight.look(is_mark & ~is_piece, optics)


def _far_marks(
    dust: LensDust, seen: tuple[MeasuredSpot, ...], optics: KnownOptics
) -> tuple[MeasuredSpot, ...]:
    """Gather the shadows of lens dust, from the coarse search and from the fine one, once each."""
    found = [*dust.overlapping]
    wide = (spot for spot in seen if is_disc(spot, optics))
    for spot in sorted((*dust.alone, *wide), key=lambda s: -s.width_px):
        if not any(distance_px(spot, other) < other.width_px / 2 for other in found):
            found.append(spot)
    return tuple(found)


def _is_part_of(spot: MeasuredSpot, far: tuple[MeasuredSpot, ...], optics: KnownOptics) -> bool:
    """Tell whether a mark is lens dust itself, or a piece of its rim.

    Where discs lie over one another, a piece is as deep as all of them.
    """
    near = [other for other in far if distance_px(spot, other) < FAR_REACH * other.width_px]
    if not near or any(spot is other for other in near):
        return bool(near)
    sharpest_px = max(optics.blur_px(), min(sharpest_rim_px(other, optics) for other in near))
    together_frac = 1 - math.prod(1 - other.depth_frac for other in near)
    deepest_frac = max(
        FAR_PIECE_DEPTH * max(other.depth_frac for other in near),
        OVERLAP_DEPTH * together_frac,
    )
    return spot.depth_frac < deepest_frac and spot.edge_px > sharpest_px


def _is_seen_in(film: MeasuredSpot, spot: MeasuredSpot) -> bool:
    """Tell whether a mark of the fine search is a film of the coarse one, or a piece of it."""
    is_wide = spot.length_px > film.width_px / 2
    return is_wide and distance_px(film, spot) < film.length_px / 2


def _is_inside(spot: MeasuredSpot, flat: FlatFrame) -> bool:
    """Tell whether the middle of a mark lies in the picture, where it can be pointed to."""
    sides_px = (n_cells * flat.bin_px for n_cells in flat.contrast.shape)
    return all(
        -HALF_PX <= along < side_px - HALF_PX
        for along, side_px in zip((spot.centre.row_px, spot.centre.col_px), sides_px, strict=True)
    )


def _measured_stack(
    flat: FlatFrame, measured: tuple[MeasuredSpot, ...], optics: KnownOptics, *, is_cooked: bool
) -> Stack | None:
    if optics.f_number is None or optics.pitch_um is None:
        return None
    return fit_stack(
        flat,
        measured,
        f_number=optics.f_number,
        pitch_um=optics.pitch_um,
        is_cooked=is_cooked,
    )


def floors_at(flat: FlatFrame, spots: MeasuredSpots) -> NDArray[np.float64]:
    """Return the depth that coarse codes can feign where marks lie, (n,).

    On a plateau, where nearly all cells round the mark agree, that is a whole code at least.
    """
    if flat.floor_frac is None or flat.step_frac is None:
        return np.zeros(len(spots))
    row, col = (
        np.clip(np.floor((along + HALF_PX) / flat.bin_px), 0, n_cells - 1).astype(np.intp)
        for along, n_cells in zip((spots.row_px, spots.col_px), flat.contrast.shape, strict=True)
    )
    step, floor = (
        values_at(plane, row, col).astype(np.float64) for plane in (flat.step_frac, flat.floor_frac)
    )
    return np.where(spots.calm_frac < PLATEAU_STEPS * step, np.maximum(step, floor), floor)
