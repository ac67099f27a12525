"""Measure marks: where, how deep, how wide, how much light they take."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.distances import regions_of
from motemap.measure.discs import DiscGroup, disc_groups
from motemap.measure.mark_maps import Outsets, alike, cut_maps
from motemap.measure.rims import with_sharp_rims
from motemap.measure.stacked import measure_maps
from motemap.strips import for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpot, Region, Regions

__all__ = ["DiscGroup", "disc_groups", "measure", "measure_all", "owners", "with_sharp_rims"]


def owners(flat: FlatFrame, regions: Regions) -> NDArray[np.unsignedinteger]:
    """Draw all regions on the plane's grid: 0 free, else 1 + index of the region.

    Returns
    -------
    (H, W) unsigned integers
        Of the smallest kind that holds so many: a few marks lie all over the frame, and each part
        of the plane that is looked at has to be fetched.
    """
    owner = np.zeros(flat.contrast.shape, np.min_scalar_type(len(regions)))
    cells = regions.cells
    owner[cells.row, cells.col] = cells.mask + 1  # the last one has a cell that several share
    return owner


def measure_all(
    flat: FlatFrame, regions: Regions, owner: NDArray[np.unsignedinteger]
) -> tuple[MeasuredSpot, ...]:
    """Measure all regions of a frame.

    Parameters
    ----------
    flat : FlatFrame
    regions : Regions
    owner : (H, W) unsigned integers
        From `owners`, of the same regions.

    Returns
    -------
    tuple of MeasuredSpot
        One a region, in the same order.
    """
    outsets = Outsets.of(np.arange(len(regions)), regions)
    groups = list(alike(outsets, flat.contrast.shape))

    def of_group(group: Outsets) -> list[MeasuredSpot]:
        maps = cut_maps(flat, group, owner)
        return measure_maps(maps, flat.bin_px, flat.contrast.shape)

    spots: dict[int, MeasuredSpot] = {}
    for group, measured in zip(groups, for_each(of_group, groups), strict=True):
        spots.update(zip(group.index.tolist(), measured, strict=True))
    return tuple(spots[index] for index in range(len(regions)))


def measure(
    flat: FlatFrame, region: Region, owner: NDArray[np.unsignedinteger], index: int
) -> MeasuredSpot:
    """Measure one region; for many `measure_all` costs far less.

    Parameters
    ----------
    flat : FlatFrame
    region : Region
    owner : (H, W) unsigned integers
        From `owners`.
    index : int
        Index of the region in `owner`, from 0.
    """
    maps = cut_maps(flat, Outsets.of(np.array([index]), regions_of([region])), owner)
    return measure_maps(maps, flat.bin_px, flat.contrast.shape)[0]
