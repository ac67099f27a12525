"""Area, length and bend of a mark's outline at half its depth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

FINE_STEPS = 3
"""Steps per cell on which the outline is followed."""
RIBBON_FROM = 2.2
RIBBON_MIN_CELL2 = 16.0
"""A ribbon is only read off a perimeter that is long against the grid, and of a long mark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A mark's outline at half depth [cells].

    Parameters
    ----------
    area_cell2 : float
    width_cell, length_cell : float
        Across and along; equal to the diameter of the equal-area disc when round.
    straightness : float
        Chord over length (0-1).
    hole_frac : float
        Share of the outline's inside that is a hole (0-1).
    """

    area_cell2: float
    width_cell: float
    length_cell: float
    straightness: float
    hole_frac: float


def trace_outline(depth: NDArray[np.float32], inside: NDArray[np.bool_], half: float) -> Outline:
    """Measure the part of a mark that is deeper than `half`.

    Parameters
    ----------
    depth : (h, w) float32
        Depth map, positive where darker.
    inside : (h, w) bool
        Cells that may belong to the mark.
    half : float
        Depth at which the outline is drawn.
    """
    held = np.where(inside, depth, np.minimum(depth, 0.9 * half)).astype(np.float32)
    fine = ndimage.zoom(held, FINE_STEPS, order=1, grid_mode=True, mode="nearest")
    label, n_pieces = ndimage.label(fine > half)
    if n_pieces == 0:
        return Outline(
            area_cell2=1.0, width_cell=1.0, length_cell=1.0, straightness=1.0, hole_frac=0.0
        )
    mask = label == 1 + int(np.argmax(np.bincount(label.ravel())[1:]))
    area = float(mask.sum()) / FINE_STEPS**2
    filled = float(ndimage.binary_fill_holes(mask).sum()) / FINE_STEPS**2
    perimeter = crofton_perimeter(mask) / FINE_STEPS
    width, length = ribbon(area, perimeter)
    if length < RIBBON_FROM * width or area < RIBBON_MIN_CELL2:
        width, length = ellipse(mask, area)
    chord = max(extent(mask) / FINE_STEPS, width)
    return Outline(
        area_cell2=area,
        width_cell=width,
        length_cell=length,
        straightness=min(1.0, chord / length),
        hole_frac=1 - area / filled,
    )


def crofton_perimeter(mask: NDArray[np.bool_]) -> float:
    """Estimate the length of an outline from how often lines in four directions cross it.

    Crofton's formula: the perimeter is pi/2 times the mean crossing density; the four
    directions of a square grid make it good to a few per cent.
    """
    padded = np.pad(mask, 1).astype(np.int8)
    straight = np.abs(np.diff(padded, axis=0)).sum() + np.abs(np.diff(padded, axis=1)).sum()
    falling = np.abs(padded[1:, 1:] - padded[:-1, :-1]).sum()
    rising = np.abs(padded[1:, :-1] - padded[:-1, 1:]).sum()
    return float(math.pi / 8 * (straight + (falling + rising) / math.sqrt(2)))


def ribbon(area: float, perimeter: float) -> tuple[float, float]:
    """Return width and length of the ribbon with this area and perimeter, bent or straight.

    The ribbon has round ends: area = w (l - w) + pi w^2/4, perimeter = 2 (l - w) + pi w.
    A round mark, whose perimeter is as short as can be, gives width = length.
    """
    diameter = 2 * math.sqrt(area / math.pi)
    # Eliminating l leaves pi/4 w^2 - perimeter/2 w + area = 0.
    discriminant = perimeter**2 / 4 - math.pi * area
    if discriminant <= 0:
        return diameter, diameter
    width = (perimeter / 2 - math.sqrt(discriminant)) * 2 / math.pi
    length = (perimeter - math.pi * width) / 2 + width
    return min(width, diameter), max(length, diameter)


def ellipse(mask: NDArray[np.bool_], area: float) -> tuple[float, float]:
    """Return the axes of the ellipse with this area and the second moments of the mask."""
    rows, cols = np.nonzero(mask)
    if len(rows) <= 1:  # no spread to speak of
        diameter = 2 * math.sqrt(area / math.pi)
        return diameter, diameter
    spread = np.cov(np.stack([rows, cols])) + np.eye(2) / 12
    low, high = np.linalg.eigvalsh(spread)
    ratio = math.sqrt(max(float(high / max(low, 1e-9)), 1.0))
    width = 2 * math.sqrt(area / math.pi / ratio)
    return width, width * ratio


def extent(mask: NDArray[np.bool_]) -> float:
    """Return the largest extent of a mask over 12 directions."""
    rows, cols = np.nonzero(mask)
    angles = np.arange(12) * (math.pi / 12)
    along = np.outer(np.cos(angles), cols) + np.outer(np.sin(angles), rows)
    return float((along.max(axis=1) - along.min(axis=1)).max()) + 1
