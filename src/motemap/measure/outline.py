"""Area, length and breadth of marks' outlines at half their depth, many marks at once.

An outline is the line along which the depth, taken as even between the middles of cells, is
half that of the mark. All that is asked of it follows from the short straight pieces it has in each
square between four cells (Green's theorem), so nothing has to be drawn on a finer grid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.masks import label_pieces
from motemap.measure.outline_pieces import OutlinePieces, outline_pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

RIBBON_FROM = 2.2
"""Length over width from which a mark is taken for a ribbon, not for an ellipse."""
RIBBON_MIN_CELL2 = 16.0
"""A ribbon is only read off a perimeter that is long against the grid, and of a long mark."""
OUTSIDE = -0.1
"""Depth beyond half, as a share of half, that cells outside a mark are held below."""
TINY = 1e-9
"""Smaller areas are none [cells2]; and so much below half lies what is beyond the picture."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlines:
    """Outlines of n marks at half depth [cells].

    Parameters
    ----------
    area_cell2 : (n,) float64
    width_cell, length_cell : (n,) float64
        Across and along; equal to the diameter of the equal-area disc when round.
    hole_frac : (n,) float64
        Share of the outline's inside that is a hole (0-1).
    hoop_frac : (n,) float64
        What lies within the middle line of a ring, over what a circle as long encloses; 1 without
        a hole.
    """

    area_cell2: NDArray[np.float64]
    width_cell: NDArray[np.float64]
    length_cell: NDArray[np.float64]
    hole_frac: NDArray[np.float64]
    hoop_frac: NDArray[np.float64]


def trace_outlines(
    depth: NDArray[np.float32],
    inside: NDArray[np.bool_],
    half: NDArray[np.float32],
    in_frame: NDArray[np.bool_] | None = None,
) -> Outlines:
    """Measure the part of each mark that is deeper than half its depth.

    Parameters
    ----------
    depth : (n, h, w) float32
        Depth maps, positive where darker.
    inside : (n, h, w) bool
        Cells that may belong to each mark; none along the border of its map.
    half : (n,) float32
        Depth at which each outline is drawn; there is none at 0 and below.
    in_frame : (n, h, w) bool, optional
        Cells of the picture, beyond which `depth` mirrors it; all when left out.

    Returns
    -------
    Outlines
        One cell for a mark that is nowhere so deep.
    """
    over = depth - half[:, None, None]
    floor = np.where(half > 0, OUTSIDE * half, -1.0).astype(np.float32)[:, None, None]
    np.minimum(over, floor, out=over, where=~inside | (half <= 0)[:, None, None])
    if in_frame is not None and not in_frame.all():
        # The mirrored depth, turned over, puts the outline on the very edge of the picture.
        beyond = ~in_frame
        over[beyond] = np.minimum(-np.abs(depth - half[:, None, None])[beyond], -TINY)
    _keep_largest(over, floor)
    return _outlines(outline_pieces(over), _holes(over))


def _keep_largest(over: NDArray[np.float32], floor: NDArray[np.float32]) -> None:
    """Hold all but the largest piece of each mark below half its depth."""
    n_marks = len(over)
    label = label_pieces(over > 0)
    n_pieces = int(label.max())
    if n_pieces <= 1:
        return
    places = np.flatnonzero(label)
    piece = label.ravel()[places]
    n_cells = np.bincount(piece, minlength=n_pieces + 1)
    mark = np.zeros(n_pieces + 1, np.intp)
    mark[piece] = places // (label.size // n_marks)
    largest = np.zeros(n_marks, np.intp)
    order = np.argsort(n_cells[1:], kind="stable") + 1
    largest[mark[order]] = order  # the largest of a mark is written last
    is_kept = np.zeros(n_pieces + 1, bool)
    is_kept[largest] = True
    is_kept[0] = True
    if is_kept.all():
        return
    np.copyto(over, floor, where=~is_kept[label])


def _holes(over: NDArray[np.float32]) -> NDArray[np.bool_] | None:
    """Return the cells that a mark encloses without holding them; None if there are none."""
    ground = label_pieces(over <= 0, by_corners=False)
    n_pieces = int(ground.max())
    if n_pieces <= len(over):
        return None
    is_outer = np.zeros(n_pieces + 1, bool)
    for rim in (ground[:, 0], ground[:, -1], ground[:, :, 0], ground[:, :, -1]):
        is_outer[rim] = True
    is_outer[0] = True
    return np.asarray(~is_outer[ground])


def _outlines(pieces: OutlinePieces, holes: NDArray[np.bool_] | None) -> Outlines:
    """Measure outlines by their pieces, given the cells of holes; one cell where there is none."""
    area, perimeter, ratio = pieces.area(), pieces.perimeter(), pieces.axis_ratio()
    is_there = area > TINY
    area = np.where(is_there, area + pieces.cut_off(), 1.0)
    filled = area
    if holes is not None:
        filled = np.maximum(pieces.area(~pieces.touch(holes)) + pieces.cut_off(), area)
    width, length = ribbon(area, perimeter)
    is_compact = (length < RIBBON_FROM * width) | (area < RIBBON_MIN_CELL2)
    across = 2 * np.sqrt(area / math.pi / ratio)
    width = np.where(is_compact, across, width)
    length = np.where(is_compact, across * ratio, length)
    return Outlines(
        area_cell2=area,
        width_cell=np.where(is_there, width, 1.0),
        length_cell=np.where(is_there, length, 1.0),
        hole_frac=np.where(is_there, 1 - area / filled, 0.0),
        hoop_frac=np.where(is_there & (filled > area), _hoops(area, filled, perimeter), 1.0),
    )


def _hoops(
    area: NDArray[np.float64], filled: NDArray[np.float64], perimeter: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return what the middle lines of rings enclose, over what circles as long would.

    A middle line is half as long as both outlines together, and encloses what lies midway between
    what they do.
    """
    midway = filled - area / 2
    hoops: NDArray[np.float64] = 4 * math.pi * midway / np.maximum(perimeter / 2, TINY) ** 2
    return hoops


def ribbon(
    area: NDArray[np.float64], perimeter: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return width and length of the ribbons with these areas and perimeters, bent or straight.

    A ribbon has round ends: area = w (l - w) + pi w^2/4, perimeter = 2 (l - w) + pi w.
    A round mark, whose perimeter is as short as can be, gives width = length.
    """
    diameter = 2 * np.sqrt(area / math.pi)
    # Eliminating l leaves pi/4 w^2 - perimeter/2 w + area = 0.
    discriminant = np.maximum(perimeter**2 / 4 - math.pi * area, 0.0)
    width = (perimeter / 2 - np.sqrt(discriminant)) * 2 / math.pi
    length = (perimeter - math.pi * width) / 2 + width
    is_round = discriminant <= 0
    return (
        np.where(is_round, diameter, np.minimum(width, diameter)),
        np.where(is_round, diameter, np.maximum(length, diameter)),
    )
