"""The connected pieces of what the search found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import SQUARE
from motemap.masks import label_cells, label_pieces, piece_boxes
from motemap.planes import enlarge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.levels import Search
    from motemap.masks import Box, Boxes
    from motemap.records import FlatFrame

COARSE_AREAS, FINE_DEPTHS = 5.0, 2.0
"""A wide shadow is so many times as large as the specks on it, and they so many times as deep."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """The n pieces of a frame, in reading order of their first squares.

    Parameters
    ----------
    label : (h, w) int32
        By squares: 1 + number of the piece, 0 elsewhere.
    squares : (k,), (k,) int
        Rows and columns of all that belong to a piece.
    boxes : Boxes
        Where each lies in the flattened plane; the parts of one share its box.
    level : (n,) int
        The finest level that found it.
    snr : (n,) float32
        Largest significance inside.
    """

    label: NDArray[np.int32]
    squares: tuple[NDArray[np.intp], ...]
    boxes: Boxes
    level: NDArray[np.intp]
    snr: NDArray[np.float32]


def find_pieces(flat: FlatFrame, search: Search) -> Pieces:
    """Connect what the search found, and part small marks from the wide shadows they lie in.

    Parameters
    ----------
    flat : FlatFrame
    search : Search
    """
    # Asked of a mask: of numbers it takes ten times as long.
    cells = np.flatnonzero(search.label > 0)
    piece = label_cells(cells, search.label.shape[1])
    squares = np.unravel_index(cells, search.label.shape)
    label = np.zeros(search.label.shape, np.int32)
    label[squares] = piece
    boxes = search.cells_of(piece_boxes(piece, *squares))
    found = search.label[squares]
    lowest, highest = _extremes(piece, found, len(boxes))
    parted: list[int] = []
    for index in np.flatnonzero(lowest < highest).tolist():
        for part in _parts_by_level(flat, search, boxes[index], label, index + 1)[1:]:
            parted.append(index)
            number = len(boxes) + len(parted)
            _squares_in(label, boxes[index])[part[::SQUARE, ::SQUARE]] = number
    n_pieces = len(boxes) + len(parted)
    if parted:
        whole = np.concatenate([np.arange(len(boxes)), np.array(parted)])
        order = np.argsort(whole, kind="stable")
        new_number = np.zeros(n_pieces + 1, np.intp)
        new_number[order + 1] = np.arange(1, n_pieces + 1)
        piece = new_number[label[squares]]
        label[squares] = piece
        boxes = boxes.only(whole[order])
        lowest, _ = _extremes(piece, found, n_pieces)
    snr = np.zeros(n_pieces, np.float32)
    np.maximum.at(snr, piece - 1, search.snr[squares])
    return Pieces(label=label, squares=squares, boxes=boxes, level=lowest - 1, snr=snr)


def _extremes(
    label: NDArray[np.intp], numbers: NDArray[np.int32], n_pieces: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the least and the largest of the numbers of each piece, given square by square."""
    # Numbers of one kind: turning each over takes longer than all the rest.
    piece, numbers = label - 1, numbers.astype(np.intp)
    least = np.full(n_pieces, np.iinfo(np.int32).max, np.intp)
    largest = np.zeros(n_pieces, np.intp)
    np.minimum.at(least, piece, numbers)
    np.maximum.at(largest, piece, numbers)
    return least, largest


def _squares_in(squares: NDArray[np.int32], box: Box) -> NDArray[np.int32]:
    """Return the squares of a box of cells that begins and ends with squares."""
    rows, cols = (slice(side.start // SQUARE, -(-side.stop // SQUARE)) for side in box)
    return squares[rows, cols]


def _parts_by_level(
    flat: FlatFrame, search: Search, box: Box, label: NDArray[np.int32], number: int
) -> list[NDArray[np.bool_]]:
    """Part small deep marks from the wide faint shadow that they lie in.

    Lens dust and smears are found at coarser levels than the specks on top of them, and
    connect with them. Where the fine part is clearly the deeper and the coarse part by far the
    larger, they are no one mark.

    Returns
    -------
    list of (h, w) bool
        The whole as it is, or its parts.
    """
    contrast = flat.contrast[box]
    height, width = contrast.shape
    inside = enlarge(_squares_in(label, box) == number, SQUARE)[:height, :width]
    level = np.where(inside, search.label_in(box), 0)
    coarse = level > int(level[inside].min())
    wide = float(contrast[coarse].mean())
    pieces = label_pieces(inside & ~coarse)
    marks = [pieces == number for number in range(1, int(pieces.max()) + 1)]
    deep = [mark for mark in marks if _deeper_half(contrast[mark]) < FINE_DEPTHS * wide]
    rest = inside & ~np.logical_or.reduce(deep) if deep else inside
    if not deep or np.count_nonzero(rest) <= COARSE_AREAS * sum(map(np.count_nonzero, deep)):
        return [inside]
    pieces = label_pieces(rest)
    return deep + [pieces == number for number in range(1, int(pieces.max()) + 1)]


def _deeper_half(contrast: NDArray[np.float32]) -> float:
    """Return the mean of the darker half of some cells."""
    return float(np.sort(contrast)[: len(contrast) // 2 + 1].mean())
