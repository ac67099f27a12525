"""Boxes in the flattened plane."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.masks import Box


def widened(box: Box, pad: int, shape: tuple[int, ...]) -> tuple[Box, Box]:
    """Widen a box by `pad` within `shape`; also return where the old box lies in the new."""
    outer, inner = [], []
    for side, limit in zip(box, shape, strict=True):
        start = max(0, side.start - pad)
        stop = min(limit, side.stop + pad)
        outer.append(slice(start, stop))
        inner.append(slice(side.start - start, side.stop - start))
    return (outer[0], outer[1]), (inner[0], inner[1])


def box_of(crop: Box, inner: Box) -> Box:
    """Return where in the plane a box within a crop of it lies."""
    rows, cols = (
        slice(whole.start + part.start, whole.start + part.stop)
        for whole, part in zip(crop, inner, strict=True)
    )
    return rows, cols
