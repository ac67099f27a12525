"""Masks: their connected pieces, the boxes round these, and growing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Box = tuple[slice, slice]
"""Rows and columns of a crop."""

_SIDES: Final = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
_SIDES_AND_CORNERS: Final = cv2.getStructuringElement(cv2.MORPH_RECT, (3, 3))


def label_pieces(mask: NDArray[np.bool_], *, by_corners: bool = True) -> NDArray[np.int32]:
    """Count the connected pieces of a mask from 1, in reading order of their first cells.

    Parameters
    ----------
    mask : (h, w) or (n, h, w) bool
        In a stack of masks each is looked at by itself and the count goes on.
    by_corners : bool
        Whether cells connect that touch at their corners only.
    """
    *n_masks, height, width = mask.shape
    if not n_masks:
        return _labelled(mask.view(np.uint8), by_corners=by_corners)
    apart = np.zeros((*n_masks, height + 1, width), np.uint8)
    apart[:, :height] = mask
    label = _labelled(apart.reshape(-1, width), by_corners=by_corners)
    return np.ascontiguousarray(label.reshape(apart.shape)[:, :height])


def _labelled(mask: NDArray[np.uint8], *, by_corners: bool) -> NDArray[np.int32]:
    # This way of labelling goes on cell by cell, which gives the order; others go by blocks.
    _, label = cv2.connectedComponentsWithAlgorithm(
        mask, 8 if by_corners else 4, cv2.CV_32S, cv2.CCL_SAUF
    )
    return np.asarray(label, dtype=np.int32)


def piece_boxes(label: NDArray[np.int32]) -> list[Box | None]:
    """Return the box round each number of a label image, None for numbers that are not there."""
    cells = np.flatnonzero(label > 0)
    piece = label.ravel()[cells] - 1
    n_pieces = int(piece.max(initial=-1)) + 1
    sides = []
    for along, n_cells in zip(np.divmod(cells, label.shape[1]), label.shape, strict=True):
        first, last = np.full(n_pieces, n_cells), np.full(n_pieces, -1)
        np.minimum.at(first, piece, along)
        np.maximum.at(last, piece, along)
        sides += [first.tolist(), (last + 1).tolist()]
    return [
        (slice(top, bottom), slice(left, right)) if bottom else None
        for top, bottom, left, right in zip(*sides, strict=True)
    ]


def box_round(mask: NDArray[np.bool_]) -> Box | None:
    """Return the box round the cells of a small mask, None if it has none."""
    left, top, width, height = cv2.boundingRect(mask.view(np.uint8))
    if not width:
        return None
    return slice(top, top + height), slice(left, left + width)


def grown(
    mask: NDArray[np.bool_], reach_cells: int, *, by_corners: bool = False
) -> NDArray[np.bool_]:
    """Return the cells that can be reached from a mask in so many steps.

    Parameters
    ----------
    mask : (h, w) bool
    reach_cells : int
    by_corners : bool
        Whether a step may go to a cell that touches at a corner only.
    """
    near = _SIDES_AND_CORNERS if by_corners else _SIDES
    return cv2.dilate(mask.view(np.uint8), near, iterations=reach_cells).astype(np.bool_)
