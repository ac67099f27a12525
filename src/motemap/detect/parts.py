"""The parts of all clumps of a frame, as regions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import Cells
from motemap.filters import SQUARE
from motemap.records import Region

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.detect.clumps import Clump
    from motemap.detect.levels import Search
    from motemap.detect.parting import Parting


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """Clumps, and the parts of clumps that their dips tell from one another.

    Parameters
    ----------
    clump : (n,) int
        Number of the clump that each belongs to, rising.
    regions : list of Region
    depth_frac : (n,) float64
        Depth of each.
    """

    clump: NDArray[np.intp]
    regions: list[Region]
    depth_frac: NDArray[np.float64]


def parts_of(search: Search, clumps: Sequence[Clump], partings: Sequence[Parting]) -> Parts:
    """Return the parts of all clumps that are not explained as shadows over one another."""
    whole = [number for number, parting in enumerate(partings) if not parting.shades]
    if not whole:
        return Parts(clump=np.empty(0, np.intp), regions=[], depth_frac=np.empty(0))
    clumps, partings = [clumps[number] for number in whole], [partings[number] for number in whole]
    corners = [(clump.box[0].start, clump.box[1].start) for clump in clumps]
    cells, depth = _cells_of(clumps, partings, corners)
    n_parts = np.array([parting.n_marks for parting in partings])
    clump = np.repeat(np.arange(len(clumps)), n_parts)
    number = np.arange(1, len(clump) + 1) - (np.cumsum(n_parts) - n_parts)[clump]
    start, stop = cells.sides()
    inner = np.stack([start, stop]) - np.array(corners)[clump].T
    masks = [
        partings[own].shares[top:bottom, left:right] == share
        for own, share, top, left, bottom, right in zip(
            clump.tolist(), number.tolist(), *inner.reshape(4, -1).tolist(), strict=True
        )
    ]
    snrs = cells.largest(search.snr[cells.row // SQUARE, cells.col // SQUARE])
    regions = [
        Region(
            top_cell=top,
            left_cell=left,
            mask=mask,
            snr=snr,
            scale_cell=clumps[own].sigma_cell,
        )
        for own, top, left, mask, snr in zip(
            clump.tolist(), *start.tolist(), masks, snrs.tolist(), strict=True
        )
    ]
    return Parts(
        clump=np.array(whole)[clump],
        regions=regions,
        depth_frac=cells.largest(depth).astype(np.float64),
    )


def _cells_of(
    clumps: Sequence[Clump], partings: Sequence[Parting], corners: Sequence[tuple[int, int]]
) -> tuple[Cells, NDArray[np.float32]]:
    """List the cells of all parts, these counted on from clump to clump, and their depths."""
    cells = Cells.of([parting.shares > 0 for parting in partings], corners)
    number = np.concatenate([parting.shares.ravel() for parting in partings])
    depth = np.concatenate([clump.depth.ravel() for clump in clumps])
    is_held = number > 0
    n_parts = np.array([parting.n_marks for parting in partings])
    part = (np.cumsum(n_parts) - n_parts - 1)[cells.mask] + number[is_held]
    return replace(cells, mask=part, n_masks=int(n_parts.sum())), depth[is_held]


def shades_of(clump: Clump, parting: Parting) -> list[Region]:
    """Return the shadows of a clump that lie over one another, as regions."""
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
    ]
