"""Where clumps lie that are to be explained, many at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import crops_round
from motemap.detect.grounds import Ground
from motemap.detect.profile import density_of
from motemap.distances import within
from motemap.masks import Boxes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.clumps import Clumps
    from motemap.masks import Box
    from motemap.records import FlatFrame

ROUND_CELLS = 2
"""Cells round a clump that are explained as well: there all its marks have ended."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClumpSite:
    """A clump to be explained, and a crop of the plane that holds it.

    Parameters
    ----------
    crop : (slice, slice)
    ground : Ground
        What there is to explain; its places count in the crop.
    summits : list of (row, col)
        The deepest place of each share of the clump, in the crop.
    """

    crop: Box
    ground: Ground
    summits: list[tuple[float, float]]


def clump_sites(
    flat: FlatFrame, clumps: Clumps, numbers: NDArray[np.intp], share: NDArray[np.intp]
) -> list[ClumpSite]:
    """Return the sites of some clumps.

    Parameters
    ----------
    flat : FlatFrame
    clumps : Clumps
    numbers : (n,) int
        Which of them.
    share : (k,) int
        To which share of its clump each cell belongs, from 1; 0 for none.
    """
    shape = flat.contrast.shape
    pads = np.full(len(numbers), ROUND_CELLS + 1)
    boxes = clumps.boxes.only(numbers)
    start = np.maximum(boxes.start - pads[:, None], 0)
    stop = np.minimum(boxes.stop + pads[:, None], shape)
    grounds: dict[int, Ground] = {}
    for some, crops in crops_round(boxes, pads, shape):
        density = density_of(crops.cut(flat.contrast))
        inside = crops.drawn(clumps.cells.of_masks(numbers[some]))
        (near,) = within(inside, [ROUND_CELLS])
        cells = near & crops.cells(flat.valid)
        corners = np.stack([crops.top, crops.left], axis=1)
        in_crops = Boxes(start=start[some] - corners, stop=stop[some] - corners)
        for place, member in enumerate(some.tolist()):
            own = (place, *in_crops[place])
            grounds[member] = Ground(density=density[own], cells=cells[own])
    crop_boxes = Boxes(start=start, stop=stop)
    return [
        ClumpSite(crop=crop_boxes[member], ground=grounds[member], summits=summits)
        for member, summits in enumerate(_summits(clumps, numbers, share, start))
    ]


def _summits(
    clumps: Clumps, numbers: NDArray[np.intp], share: NDArray[np.intp], corners: NDArray[np.intp]
) -> list[list[tuple[float, float]]]:
    """Return the deepest place of each share of some clumps, counted from a corner of each."""
    cells, place = clumps.cells.of_masks(numbers), clumps.cells.places_of(numbers)
    of_clump, number = cells.mask, share[place]
    order = np.lexsort((-clumps.depth[place], number, of_clump))
    is_next = np.diff(of_clump[order], prepend=-1) != 0
    is_next |= np.diff(number[order], prepend=-1) != 0
    tops = order[is_next & (number[order] > 0)]
    rows, cols = cells.row - corners[of_clump, 0], cells.col - corners[of_clump, 1]
    found: list[list[tuple[float, float]]] = [[] for _ in range(len(numbers))]
    for clump, row, col in zip(
        of_clump[tops].tolist(), rows[tops].tolist(), cols[tops].tolist(), strict=True
    ):
        found[clump].append((float(row), float(col)))
    return found
